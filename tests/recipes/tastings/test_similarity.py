"""Is the cheaper lot the same? Sheets and words of each taster."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import DatabaseError, connection

from audit.errors import Invalid
from recipes.brewing.taste import Method
from recipes.tastings.actions import lock_answers, open_key, plan_tasting, record_answers
from recipes.tastings.models import Tasting
from recipes.tastings.result import answers_of, result_of, sheets_of
from recipes.tastings.sentences import percent
from tests.cast import Cast, SignedIn
from tests.recipes.tastings.panel import right_answers

THIRD = Decimal("0.3")


@pytest.fixture
def planned(cast: Cast) -> Callable[..., Tasting]:
    """Plan a tasting at the harbour: the same, near enough, unless it is told otherwise."""

    def plan(**told: Any) -> Tasting:  # noqa: ANN401
        asked: dict[str, Any] = {
            "method": Method.TRIANGLE, "first_sample": "the lot", "second_sample": "the cheaper",
            "risk": Decimal("0.05"), "assessments": 72, "seed": "cups", "aim": "similarity",
            "share": THIRD,
        }  # fmt: skip
        return plan_tasting(by=cast.shop_lead, site=cast.site, **(asked | told))

    return plan


def run(cast: Cast, tasting: Tasting, right: int) -> Tasting:
    """So many right answers, locked and opened."""
    by, answers = cast.shop_lead, right_answers(tasting, right)
    tasting = record_answers(by=by, tasting=tasting, revision=tasting.revision, answers=answers)
    tasting = lock_answers(by=by, tasting=tasting, revision=tasting.revision)
    return open_key(by=by, tasting=tasting, revision=tasting.revision)


@pytest.mark.parametrize(("right", "shown"), [(30, True), (31, False)])
def test_few_enough_right_answers_show_that_they_are_the_same(
    cast: Cast, planned: Callable[..., Tasting], right: int, *, shown: bool
) -> None:
    # 30 of 72: tests/references/test_brewing_similarity.py.
    found = result_of(run(cast, planned(), right))
    assert (found.counted, found.needed, found.shown) == (right, 30, shown)
    assert f"no more than {percent(THIRD)} of tasters" in found.sentence
    assert ("is not shown" in found.sentence) is not shown
    assert found.share.high is not None
    assert 0 <= found.share.low <= found.share.high <= 100


def test_every_answer_right_is_no_end_of_distance(
    cast: Cast, planned: Callable[..., Tasting], signed_in: SignedIn
) -> None:
    tasting = run(cast, planned(aim="difference", share=None, assessments=6), 6)
    found = result_of(tasting)
    assert found.share.high == 100
    assert (found.distance.value, found.distance.high) == (None, None)
    page = signed_in(cast.shop_lead).get(tasting.get_absolute_url()).content.decode()
    assert "no telling: every answer was right" in page


@pytest.mark.parametrize(("told", "field"), [
    ({"share": None}, "share"),
    ({"share": Decimal("0.01")}, "share"),
    ({"share": Decimal("NaN")}, "share"),
    ({"servings_each": 2}, "servings_each"),
    ({"method": Method.PAIRED_ONE_SIDED}, "method"),
    ({"aim": "difference"}, "share"),
    ({"aim": "sameness"}, "aim"),
])  # fmt: skip
def test_what_can_not_be_the_same_is_refused(
    planned: Callable[..., Tasting], told: dict[str, object], field: str
) -> None:
    with pytest.raises(Invalid) as refused:
        planned(**told)
    assert field in [problem.field for problem in refused.value.problems]
    assert not Tasting.objects.exists()


@pytest.mark.parametrize("change", ["share = NULL", "servings_each = 2", "method = 'guess'"])
def test_the_database_says_it_too(planned: Callable[..., Tasting], change: str) -> None:
    tasting = planned()
    fields = [field for field in Tasting._meta.concrete_fields if not field.primary_key]
    columns = [str(field.column) for field in fields]
    name, _, value = change.partition(" = ")
    picked = ", ".join(value if column == name else column for column in columns)
    copy = f"INSERT INTO recipes_tasting ({', '.join(columns)}) SELECT {picked}"
    with pytest.raises(DatabaseError, match="tasting_"), connection.cursor() as cursor:
        cursor.execute(f"{copy} FROM recipes_tasting WHERE id = %s", [tasting.pk])


def test_a_sheet_and_the_words_of_each_taster(
    cast: Cast, planned: Callable[..., Tasting], signed_in: SignedIn
) -> None:
    tasting = planned(aim="difference", share=None, assessments=5, servings_each=2)
    assert [(who, [one.number for one in own]) for who, own in sheets_of(tasting)] == [
        (1, [1, 2]), (2, [3, 4]), (3, [5]),
    ]  # fmt: skip
    browser, address = signed_in(cast.shop_lead), tasting.get_absolute_url()
    sheets = browser.get(f"{address}sheets/").content.decode()
    assert sheets.count("taster-sheet") == 3
    answers = right_answers(tasting, 5)
    sent = {f"answer_{n}": code for n, code in answers.items()}
    revision = Tasting.objects.get().revision
    loose = browser.post(f"{address}answers/", {"note_1": "Sharp.", "revision": revision})
    assert loose.status_code == 400
    browser.post(f"{address}answers/", {**sent, "note_3": "Sharper.", "revision": revision})
    said = answers_of(Tasting.objects.get())
    assert [(one.taster, one.answer.note, one.sample) for one in said][2] == (2, "Sharper.", None)
    assert "Sharper." not in browser.get(address).content.decode()  # others are still tasting
    tasting = Tasting.objects.get()
    by = cast.shop_lead
    tasting = record_answers(
        by=by, tasting=tasting, revision=tasting.revision, answers={3: answers[3], 5: ""}
    )
    tasting = lock_answers(by=by, tasting=tasting, revision=tasting.revision)
    open_key(by=by, tasting=tasting, revision=tasting.revision)
    assert [one.answer.note for one in answers_of(Tasting.objects.get())][2] == "Sharper."
    page = browser.get(address).content.decode()
    assert "Sharper." in page
    assert page.count("Taster 2") == 2


def test_the_forecast_says_what_a_panel_can_show(cast: Cast, signed_in: SignedIn) -> None:
    typed = {
        "site": cast.site.pk, "method": "triangle", "aim": "similarity", "first_sample": "a",
        "second_sample": "b", "risk": "0.05", "assessments": "72", "servings_each": "1",
        "share": "0.3", "seed": "", "forecast": "1",
    }  # fmt: skip
    browser = signed_in(cast.shop_lead)
    page = browser.post("/tastings/new/", typed).content.decode()
    assert "30 of 72" in page
    assert "if nobody can tell" in page
    refused = browser.post("/tastings/new/", typed | {"method": "paired, one-sided"})
    assert refused.status_code == 400
    assert "Choose triangle or duo-trio" in refused.content.decode()
