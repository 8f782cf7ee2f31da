"""Coffees, lots and recipes: added, changed, and their names kept once they were signed for."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.utils import timezone

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from recipes.coffees.actions import add_coffee, add_lot, add_recipe, change_coffee
from recipes.coffees.models import Coffee, Recipe, rest_of
from recipes.versions.models import Version
from tests.cast import Cast

HOUSE: dict[str, Any] = {"name": "House", "rest_from": 7, "rest_to": 30}


def test_a_coffee_is_added_and_recorded(cast: Cast) -> None:
    coffee = add_coffee(by=cast.head_roaster, **HOUSE, note="Two farms.\nWashed.")
    entry = Entry.objects.get(subject_type="coffee", subject_id=coffee.pk)
    assert (entry.action, entry.actor, entry.role) == (
        "coffee.added",
        "Head roaster",
        "head roaster",
    )
    assert entry.changes["rest_from"] == [None, 7]


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"name": ""}, "name"),
        ({"name": "x" * 81}, "name"),
        ({"name": "two\nlines"}, "name"),
        ({"name": "nul\x00"}, "name"),
        ({"name": "half \ud800"}, "name"),
        ({"rest_from": -1}, "rest_from"),
        ({"rest_to": 366}, "rest_to"),
        ({"rest_from": True}, "rest_from"),
        ({"rest_from": 31}, "rest_to"),
        ({"note": "x" * 2001}, "note"),
    ],
)
def test_a_bad_value_is_named(cast: Cast, wrong: dict[str, object], field: str) -> None:
    with pytest.raises(Invalid) as told:
        add_coffee(by=cast.head_roaster, **{**HOUSE, **wrong})
    assert field in [problem.field for problem in told.value.problems]
    assert not Coffee.objects.exists()


def test_two_coffees_of_one_name_are_refused(cast: Cast) -> None:
    add_coffee(by=cast.head_roaster, **HOUSE)
    with pytest.raises(Invalid, match="no other coffee"):
        add_coffee(by=cast.second_roaster, **HOUSE)


def test_a_change_names_the_revision_it_was_made_from(cast: Cast) -> None:
    coffee = add_coffee(by=cast.head_roaster, **HOUSE)
    wider = {**HOUSE, "rest_to": 35}
    now = change_coffee(by=cast.second_roaster, coffee=coffee, revision=1, **wider)
    assert (now.rest_to, now.revision) == (35, 2)
    with pytest.raises(Stale) as told:
        change_coffee(by=cast.head_roaster, coffee=coffee, revision=1, **HOUSE)
    assert told.value.current_revision == 2


def test_a_submitted_name_stays(cast: Cast, in_review: Version) -> None:
    coffee = in_review.recipe.coffee
    with pytest.raises(Refused, match="keeps its name"):
        change_coffee(by=cast.head_roaster, coffee=coffee, revision=1, **HOUSE)
    kept = {**HOUSE, "name": coffee.name, "rest_to": 40}
    assert change_coffee(by=cast.head_roaster, coffee=coffee, revision=1, **kept).rest_to == 40


def test_a_lot_takes_the_coffees_window_unless_it_has_its_own(cast: Cast) -> None:
    coffee = add_coffee(by=cast.head_roaster, **HOUSE)
    plain = add_lot(by=cast.head_roaster, coffee=coffee, code="A", roasted_on=date(2026, 1, 1))
    own = add_lot(
        by=cast.head_roaster, coffee=coffee, code="B", roasted_on=date(2026, 1, 1), rest_from=10
    )
    assert [(lot.rest_from, lot.rest_to) for lot in (plain, own)] == [(7, 30), (10, 30)]
    with pytest.raises(Invalid, match="no other lot"):
        add_lot(by=cast.head_roaster, coffee=coffee, code="A", roasted_on=date(2026, 1, 2))
    ahead = timezone.now().date() + timedelta(days=2)
    with pytest.raises(Invalid, match="roasted_on"):
        add_lot(by=cast.head_roaster, coffee=coffee, code="C", roasted_on=ahead)


def test_rest_counts_days_off_roast(cast: Cast) -> None:
    coffee = add_coffee(by=cast.head_roaster, **HOUSE)
    lot = add_lot(by=cast.head_roaster, coffee=coffee, code="A", roasted_on=date(2026, 1, 1))
    states = [rest_of(lot, date(2026, 1, 1 + day)).state for day in (6, 7, 30)]
    assert states == ["resting", "ready", "ready"]
    past = rest_of(lot, date(2026, 2, 1))
    assert (past.state, past.days) == ("past", 31)
    assert past.words() == "31 days off roast: past its window, best from day 7 to day 30"


def test_a_drink_is_made_of_a_coffee_once(cast: Cast, recipe: Recipe) -> None:
    with pytest.raises(Invalid, match="not yet made"):
        add_recipe(by=cast.head_roaster, coffee=recipe.coffee, drink=recipe.drink)


def test_only_head_roasters(cast: Cast) -> None:
    coffee = add_coffee(by=cast.head_roaster, **HOUSE)
    for person in (cast.owner, cast.shop_lead, cast.barista, cast.technician):
        with pytest.raises(NotPermitted):
            add_coffee(by=person, name="Other", rest_from=1, rest_to=2)
        with pytest.raises(NotPermitted):
            change_coffee(by=person, coffee=coffee, revision=1, **HOUSE)
        with pytest.raises(NotPermitted):
            add_lot(by=person, coffee=coffee, code="A", roasted_on=date(2026, 1, 1))
        with pytest.raises(NotPermitted):
            add_recipe(by=person, coffee=coffee, drink="espresso")
