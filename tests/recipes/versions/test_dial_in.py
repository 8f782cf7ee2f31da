"""A good shot on a slot set by hand becomes a draft with everything the machine was set to."""

from decimal import Decimal

import pytest
from django.urls import reverse

from audit.errors import Invalid, NotPermitted, Refused
from recipes.coffees.actions import add_coffee, add_recipe
from recipes.coffees.models import Recipe
from recipes.formula.parameters import PARAMETERS
from recipes.versions.dial_in import draft_from_shot, propose
from recipes.versions.widths import COVERAGE, house_widths, spreads_of
from stations.metrology.formula import Stated
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot
from stations.slots.by_hand import set_by_hand
from tests.bar import Bar
from tests.calling import act
from tests.cast import ApiAs, SignedIn
from tests.grinders import grinder_of, opened_at

SET = {
    "water_volume": "280",
    "brew_temperature": "92.5",
    "preinfusion_time": "4",
    "ends_by": "volume",
}
GOOD = Weighed(Decimal("18.3"), Decimal("40.2"), Decimal("29.5"))


@pytest.fixture
def dialled(bar: Bar) -> CheckShot:
    """A shot on a slot that was set by hand."""
    able = {each.parameter for each in bar.slots[0].station.machine.machine_type.abilities.all()}
    values = {code: each for code, each in SET.items() if code in able or code == "ends_by"}
    set_by_hand(slot=bar.slots[0], values=values, by=bar.cast.shop_lead)
    return log_shot(slot=bar.slots[0], shot=GOOD, by=bar.cast.barista)


@pytest.fixture
def open_lot(bar: Bar) -> CheckShot:
    """The same with a grinder and a lot of the bar's coffee open at it."""
    station = bar.slots[0].station
    grinder = grinder_of(station, bar.cast.head_roaster, setting="3.5")
    opened_at(grinder, bar.version.recipe.coffee, bar.cast.head_roaster)
    set_by_hand(slot=bar.slots[0], values={"water_volume": "280"}, by=bar.cast.shop_lead)
    return log_shot(slot=bar.slots[0], shot=GOOD, by=bar.cast.barista)


def recipe_of(bar: Bar) -> Recipe:
    return bar.version.recipe


def test_every_setting_of_the_machine_comes_along(bar: Bar, dialled: CheckShot) -> None:
    draft = draft_from_shot(by=bar.cast.head_roaster, shot=dialled, recipe=recipe_of(bar))
    says, held = draft.stated, dialled.placement.settings.values
    assert held.keys() - says.keys() == set()
    assert says.ends_by == held["ends_by"]["value"]
    slope = dialled.slot.station.pulses_per_millilitre
    assert slope is not None
    water = says["water_volume"].target
    assert water is not None
    assert abs(water * slope - 280) < Decimal("0.5")  # the same count of pulses again
    assert (says["dose_mass"].target, says["beverage_mass"].target) == (
        Decimal("18.3"), Decimal("40.2"),
    )  # fmt: skip
    assert draft.based_on is None
    assert "check shot" in draft.note


def test_tolerances_are_the_houses(bar: Bar, dialled: CheckShot) -> None:
    says = draft_from_shot(
        by=bar.cast.head_roaster, shot=dialled, recipe=recipe_of(bar)
    ).stated  # fmt: skip
    house = house_widths()
    approved = bar.version.stated
    for code, stated in says.items():
        if stated.target is not None:
            assert (stated.below, stated.above) == house[code]
    for code in ("water_volume", "brew_temperature"):
        assert house[code] == (approved[code].below, approved[code].above)


def test_a_station_that_scatters_more_is_given_more(bar: Bar, dialled: CheckShot) -> None:
    for cup in ("30", "46", "33", "44", "36", "42"):
        shot = Weighed(Decimal("18.3"), Decimal(cup), Decimal("29.5"))
        log_shot(slot=bar.slots[0], shot=shot, by=bar.cast.barista)
    spread = spreads_of(bar.slots[0].station)["beverage_mass"]
    # Sample standard deviation of 40.2, 30, 46, 33, 44, 36, 42, by hand: 5.916 g.
    assert spread.deviation == pytest.approx(5.916, abs=0.001)
    proposed = propose(CheckShot.objects.with_place().get(pk=dialled.pk))
    stated = proposed.formula["beverage_mass"]
    assert stated.below is not None
    assert stated.below == stated.above == Decimal("11.9")
    assert float(stated.below) >= COVERAGE * spread.deviation
    assert "yield ±11.9 g, as far as shots scatter there" in proposed.notes[0]


def test_without_approved_versions_the_usual_tolerances_stand(db: None) -> None:
    assert house_widths() == {
        code: (each.usual_width, each.usual_width)
        for code, each in PARAMETERS.items()
        if each.usual_width
    }


def test_it_says_which_recipe_and_of_the_coffee_that_was_open(bar: Bar, dialled: CheckShot) -> None:
    with pytest.raises(Refused, match="Say which recipe"):
        draft_from_shot(by=bar.cast.head_roaster, shot=dialled)
    with pytest.raises(NotPermitted):
        draft_from_shot(by=bar.cast.barista, shot=dialled, recipe=recipe_of(bar))


def test_a_recipe_of_another_coffee_is_refused(bar: Bar, open_lot: CheckShot) -> None:
    by = bar.cast.head_roaster
    coffee = add_coffee(by=by, name="Another", rest_from=7, rest_to=30)
    other = add_recipe(by=by, coffee=coffee, drink="espresso")
    with pytest.raises(Invalid, match="which was open when it was poured"):
        draft_from_shot(by=by, shot=open_lot, recipe=other)


def test_grind_and_lot_come_along(bar: Bar, open_lot: CheckShot) -> None:
    draft = draft_from_shot(by=bar.cast.head_roaster, shot=open_lot, recipe=recipe_of(bar))
    assert draft.lot is not None
    assert open_lot.opening is not None
    assert draft.lot.pk == open_lot.opening.lot_id
    assert open_lot.grinder is not None
    assert draft.stated["grind_note"] == Stated(text=f"{open_lot.grinder.name} at 3.5")


def test_from_the_shots_page_to_the_editor(
    bar: Bar, dialled: CheckShot, signed_in: SignedIn
) -> None:
    browser, address = (
        signed_in(bar.cast.head_roaster),
        reverse("recipes:draft_captured", args=[dialled.pk]),
    )
    shown = browser.get(dialled.get_absolute_url()).content.decode()
    assert address in shown
    assert "Set by hand" in shown
    page = browser.get(address).content.decode()
    assert "It would say" in page
    assert "40.2" in page
    nothing = browser.post(address, {})
    assert nothing.status_code == 400
    answer = browser.post(address, {"recipe": recipe_of(bar).pk}, follow=True)
    assert answer.redirect_chain[0][0].endswith("/edit/")
    assert "40.2" in answer.content.decode()


def test_by_the_api(bar: Bar, dialled: CheckShot, api_as: ApiAs) -> None:
    client = api_as(bar.cast.head_roaster)
    assert act(client, f"shots/{dialled.pk}/draft/").status_code == 409
    made = act(client, f"shots/{dialled.pk}/draft/", {"recipe": recipe_of(bar).pk})
    assert made.status_code == 201
    assert made.json()["formula"]["beverage_mass"]["target"] == "40.2"
