"""A request overtaken by a newer version: three sides, chosen parameter by parameter."""

import pytest

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused
from people.persons.models import User
from recipes.formula.formula import Formula
from recipes.requests.decisions import accept
from recipes.requests.models import ChangeRequest
from recipes.requests.rebasing import SidesSeen, rebase, three_sides
from recipes.versions.models import Version
from recipes.versions.review import withdraw
from stations.metrology.formula import Stated
from tests.cast import Cast
from tests.recipes.shelf import FORMULA, ask, make_approved, number

ASKED = Formula(
    {
        "brew_temperature": number("94.0", "0.5", "0.5"),
        "dose_mass": number("18.5", "0.1", "0.1"),
        "beverage_mass": number("38.0", "2", "2"),
    }
)
NEWER = FORMULA | {
    "brew_temperature": number("92.0", "0.5", "0.5"),  # both changed it, apart
    "beverage_mass": number("38.00", "2", "2"),  # fulfils the request
    "grind_note": Stated(text="finer"),  # nobody asked for it
}


@pytest.fixture
def overtaken(cast: Cast, approved: Version) -> ChangeRequest:
    """A request, and a version approved after it."""
    request = ask(cast, approved, ASKED)
    make_approved(cast, approved.recipe, NEWER)
    return request


def current(request: ChangeRequest) -> Version:
    found: Version = Version.objects.approved().get(recipe=request.base.recipe_id)
    return found


def move(by: User, request: ChangeRequest, choices: dict[str, str]) -> ChangeRequest:
    """Put it against the version approved now, as somebody does who has just read both."""
    approved = Version.objects.approved().filter(recipe=request.base.recipe_id).first()
    seen = SidesSeen(request.revision, approved.pk if approved else None)
    return rebase(by=by, request=request, seen=seen, choices=choices)


def test_three_sides(overtaken: ChangeRequest) -> None:
    lines = {line.code: line for line in three_sides(overtaken, current(overtaken))}
    assert {code: line.verdict for code, line in lines.items()} == {
        "dose_mass": "still proposed",
        "beverage_mass": "already so",
        "brew_temperature": "choose one",
        "grind_note": "stays as it is now",
    }
    sides = lines["brew_temperature"]
    assert [
        str(side) for side in (sides.base_shown, sides.proposed_shown, sides.current_shown)
    ] == [
        "93.0",
        "94.0",
        "92.0",
    ]


@pytest.mark.parametrize("choice", ["proposed", "current"])
def test_the_choice_holds_and_nothing_is_lost(
    cast: Cast, overtaken: ChangeRequest, choice: str
) -> None:
    now = move(cast.shop_lead, overtaken, {"brew_temperature": choice})
    kept = {"dose_mass": ASKED["dose_mass"]}
    if choice == "proposed":
        kept["brew_temperature"] = ASKED["brew_temperature"]
    assert now.proposed == kept
    assert now.base == current(overtaken)
    draft = accept(by=cast.head_roaster, request=now, revision=now.revision)
    assert draft.stated == NEWER | kept
    dropped = Entry.objects.filter(action="request.rebased", operation="removed")
    assert "beverage_mass" in dropped.values_list("parameter", flat=True)


@pytest.mark.parametrize(
    ("choices", "field"),
    [
        ({}, "brew_temperature"),
        ({"brew_temperature": "mine"}, "brew_temperature"),
        ({"brew_temperature": "proposed", "grind_note": "proposed"}, "grind_note"),
        ({"brew_temperature": "proposed", "colour": "current"}, "colour"),
    ],
)
def test_every_question_is_answered_and_no_other(
    cast: Cast, overtaken: ChangeRequest, choices: dict[str, str], field: str
) -> None:
    with pytest.raises(Invalid) as told:
        move(cast.shop_lead, overtaken, choices)
    assert [problem.field for problem in told.value.problems] == [field]
    overtaken.refresh_from_db()
    assert overtaken.base.number == 1


def test_a_request_of_which_nothing_is_left_is_not_rebased(cast: Cast, approved: Version) -> None:
    request = ask(cast, approved, {"beverage_mass": number("38.0", "2", "2")})
    make_approved(cast, approved.recipe, NEWER)
    with pytest.raises(Refused, match="Nothing of the request"):
        move(cast.shop_lead, request, {})


def test_what_is_not_overtaken_is_not_rebased(cast: Cast, approved: Version) -> None:
    request = ask(cast, approved)
    with pytest.raises(Refused, match="current version already"):
        move(cast.shop_lead, request, {})
    withdraw(by=cast.head_roaster, version=approved, revision=approved.revision, reason="Gone")
    with pytest.raises(Refused, match="no approved version"):
        move(cast.shop_lead, request, {})


def test_its_author_or_a_head_roaster_rebases(cast: Cast, overtaken: ChangeRequest) -> None:
    choices = {"brew_temperature": "current"}
    for person in (cast.other_lead, cast.barista, cast.owner):
        with pytest.raises(NotPermitted):
            move(person, overtaken, choices)
    assert move(cast.second_roaster, overtaken, choices).base.number == 2
