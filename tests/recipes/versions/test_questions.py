"""What is impossible is refused before review; what is unusual is asked, and the reason stays."""

import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse

from audit.capture.models import Entry
from audit.errors import Invalid
from recipes.coffees.models import Recipe
from recipes.formula.formula import Formula
from recipes.versions.drafts import edit_draft
from recipes.versions.models import Answer, Version
from recipes.versions.questions import questions_about, with_answers
from recipes.versions.review import return_to_author, submit
from tests.calling import act, etag
from tests.cast import ApiAs, Cast, SignedIn
from tests.recipes.shelf import FORMULA, make_draft, number

NO_CUP = FORMULA | {"beverage_mass": number("100"), "water_volume": number("72")}
HOT = FORMULA | {"brew_temperature": number("99.0", "0.5", "0.5")}
WHY = "Stepped down in the cup with cold milk."


@pytest.fixture
def hot(cast: Cast, recipe: Recipe) -> Version:
    """A draft with one thing unusual."""
    return make_draft(cast, recipe, HOT)


def send(cast: Cast, version: Version, **answers: str) -> Version:
    fresh = Version.objects.get(pk=version.pk)
    return submit(by=cast.head_roaster, version=fresh, revision=fresh.revision, answers=answers)


def test_what_cannot_be_is_refused_with_field_value_and_limit(cast: Cast, recipe: Recipe) -> None:
    with pytest.raises(Invalid) as caught:
        send(cast, make_draft(cast, recipe, NO_CUP))
    (problem,) = caught.value.problems
    assert (problem.field, str(problem.value)) == ("beverage_mass", "100")
    assert "at most 78.4 g" in problem.allowed


@pytest.mark.parametrize(
    "formula",
    [
        NO_CUP,
        FORMULA | {"shot_time": number("20"), "preinfusion_time": number("20")},
        FORMULA | {"water_volume": number("70", "70.1", "2")},
    ],
)
def test_the_database_refuses_it_too(cast: Cast, recipe: Recipe, formula: Formula) -> None:
    draft = make_draft(cast, recipe, formula)
    with pytest.raises(DatabaseError, match="No cup can be"), transaction.atomic():
        Version.objects.filter(pk=draft.pk).update(state="in_review", content_digest="0" * 64)


def test_the_unusual_is_asked_and_the_reason_kept(cast: Cast, hot: Version) -> None:
    with pytest.raises(Invalid) as caught:
        send(cast, hot)
    assert [each.field for each in caught.value.problems] == ["answer_brew_temperature"]
    assert "usual is 85 to 97 °C" in caught.value.problems[0].allowed
    sent = send(cast, hot, brew_temperature=WHY)
    (asked,) = questions_about(sent, cast.second_roaster)
    assert asked.answer is not None
    assert (asked.answer.reason, asked.answer.by) == (WHY, cast.head_roaster)
    assert asked.answer.about == {"brew_temperature": "99"}
    (told,) = Entry.objects.filter(action="version.submitted", table_name="recipes_answer")
    assert (told.actor_id, told.changes["reason"][1]) == (cast.head_roaster.pk, WHY)
    assert told.subject_id == hot.recipe_id


def test_a_reason_stands_until_the_value_moves(cast: Cast, hot: Version) -> None:
    sent = send(cast, hot, brew_temperature=WHY)
    back = return_to_author(
        by=cast.second_roaster, version=sent, revision=sent.revision, comments={"": "Longer?"}
    )
    assert send(cast, back).state == Version.State.IN_REVIEW
    assert Answer.objects.count() == 1
    sent = Version.objects.get(pk=back.pk)
    back = return_to_author(
        by=cast.second_roaster, version=sent, revision=sent.revision, comments={"": "Less."}
    )
    edit_draft(
        by=cast.head_roaster, version=back, revision=back.revision,
        values=HOT | {"brew_temperature": number("98")},
    )  # fmt: skip
    with pytest.raises(Invalid, match="answer_brew_temperature"):
        send(cast, back)


def test_a_reason_stays_whatever_is_measured_later(cast: Cast, recipe: Recipe) -> None:
    odd = FORMULA | {"beverage_mass": number("66.0", "2", "2")}
    sent = send(cast, make_draft(cast, recipe, odd), water_balance=WHY)
    (asked,) = with_answers(sent, {})  # nothing is asked any more
    assert asked.answer is not None
    assert (asked.kind, asked.answer.reason) == ("water_balance", WHY)
    assert asked.words.startswith("66.0 g from 70 mL")


def test_what_was_not_asked_needs_no_answer(cast: Cast, draft: Version) -> None:
    with pytest.raises(Invalid, match="there is none"):
        send(cast, draft, brew_ratio="Why not")


def test_answers_never_change_and_come_before_review(cast: Cast, hot: Version) -> None:
    sent = send(cast, hot, brew_temperature=WHY)
    for attempt in (
        lambda: Answer.objects.update(reason="Other"),
        lambda: Answer.objects.all().delete(),
        lambda: Answer.objects.create(
            version=sent, by=cast.second_roaster, kind="x", question="?", about={}, reason="Late"
        ),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            attempt()


def test_on_the_pages_from_asking_to_approving(
    cast: Cast, hot: Version, signed_in: SignedIn
) -> None:
    browser, address = (
        signed_in(cast.head_roaster),
        reverse("recipes:version_submit", args=[hot.pk]),
    )
    asked = browser.post(address, {"revision": hot.revision})
    page = asked.content.decode()
    assert asked.status_code == 400
    assert "usual is 85 to 97 °C" in page
    assert "can&#x27;t be used" not in page  # asked for the first time: nothing is wrong yet
    blank = browser.post(address, {"revision": hot.revision, "answer_brew_temperature": ""})
    assert "nothing was given" in blank.content.decode().lower()
    body = {"revision": hot.revision, "answer_brew_temperature": WHY}
    assert browser.post(address, body).status_code == 302
    for page in (hot.get_absolute_url(), reverse("recipes:version_approve", args=[hot.pk])):
        text = signed_in(cast.second_roaster).get(page).content.decode()
        assert WHY in text
        assert cast.head_roaster.name in text


def test_the_page_says_what_cannot_be(cast: Cast, recipe: Recipe, signed_in: SignedIn) -> None:
    draft = make_draft(cast, recipe, NO_CUP)
    browser = signed_in(cast.head_roaster)
    told = browser.post(
        reverse("recipes:version_submit", args=[draft.pk]), {"revision": draft.revision}
    )
    assert "Yield 100 g: at most 78.4 g" in told.content.decode()
    assert "This cannot be" in browser.get(draft.get_absolute_url()).content.decode()


def test_by_the_api(cast: Cast, hot: Version, api_as: ApiAs) -> None:
    client = api_as(cast.head_roaster)
    told = client.get(f"/api/v1/versions/{hot.pk}/appraisal/").json()
    assert [each["kind"] for each in told["questions"]] == ["brew_temperature"]
    address = f"versions/{hot.pk}/submit/"
    tag = etag(client, f"versions/{hot.pk}/")
    refused = act(client, address, if_match=tag)
    assert refused.status_code == 400
    assert "answer_brew_temperature" in refused.content.decode()
    body = {"answers": {"brew_temperature": WHY}}
    sent = act(client, address, body, if_match=tag)
    assert sent.status_code == 200
    assert [each["reason"] for each in sent.json()["answers"]] == [WHY]
