"""A plan gives each station the fullest formula that it can hold, and says which."""

import json

import pytest

from recipes.planning.plan import Outcome
from recipes.planning.served import misfits
from recipes.publishing import run
from recipes.publishing.plan import PublicationPlan
from recipes.versions.models import Version
from stations.equipment.models import Slot
from stations.machine_types.models import MachineType
from stations.slots.models import Placement
from tests.bar import Bar
from tests.publishing import Publish, plan_of
from tests.recipes.calibrating import accept, measure
from tests.recipes.permits.test_permits import permit
from tests.recipes.publishing.test_signed_content import tamper

pytestmark = pytest.mark.django_db


def variants_of(plan: PublicationPlan) -> dict[int, int | None]:
    return {pk: station.variant for pk, station in plan.stations.items()}


def at(bar: Bar, station: int) -> Slot:
    return bar.stations[station].slots.get(number=1)


def held(slot: Slot) -> Placement:
    placed = Placement.objects.in_force().select_related("settings", "signature", "slot")
    return placed.get(slot=slot)


@pytest.fixture
def placed(both: Version, bar: Bar, send: Publish) -> Version:
    """Published everywhere."""
    run.run(send(both).pk)
    return both


def test_the_whole_where_it_can_be_held_and_the_variant_where_not(both: Version, bar: Bar) -> None:
    plan = plan_of(both, bar.cast.head_roaster)
    full = (bar.stations[0].pk, bar.stations[1].pk, bar.stations[3].pk)
    assert variants_of(plan) == {**dict.fromkeys(full), bar.stations[2].pk: bar.plain.pk}
    assert not plan.refused
    seen = json.loads(plan.seen)["stations"]
    assert seen[str(bar.stations[2].pk)]["variant"] == bar.plain.pk
    assert "variant" not in seen[str(bar.stations[0].pk)]


def test_without_a_variant_the_type_is_refused_as_ever(bar: Bar, both: Version) -> None:
    bare = plan_of(bar.version, bar.cast.head_roaster)
    assert set(variants_of(bare).values()) == {None}


def test_slots_hold_and_shots_are_held_against_what_the_variant_says(
    placed: Version, bar: Bar
) -> None:
    there = held(at(bar, 2))
    assert there.settings.variant_id == bar.plain.pk
    assert "brew_pressure" not in there.settings.values
    assert there.settings.cup is not None
    assert there.settings.cup["beverage_mass"] == {
        "target": "34.0", "below": "3", "above": "3", "unit": "g",
    }  # fmt: skip
    whole = held(at(bar, 0))
    assert whole.settings.variant_id is None
    assert whole.settings.cup is not None
    assert whole.settings.cup["beverage_mass"]["target"] == "36.0"
    assert "brew_pressure" in whole.settings.values


def test_the_same_again_changes_nothing(placed: Version, bar: Bar) -> None:
    again = plan_of(placed, bar.cast.head_roaster)
    assert {line.outcome for line in again.lines} == {Outcome.SAME}


def test_a_type_that_can_no_longer_do_its_variant_is_refused_with_the_reason(
    both: Version, bar: Bar
) -> None:
    bar.plain.abilities.filter(parameter="brew_temperature").delete()
    plan = plan_of(both, bar.cast.head_roaster)
    (reason,) = {text for line in plan.refused for text in line.reasons}
    assert "brew temperature" in reason
    assert {line.slot.station_id for line in plan.refused} == {bar.stations[2].pk}
    assert variants_of(plan)[bar.stations[2].pk] == bar.plain.pk


def test_a_type_that_can_do_the_whole_by_now_gets_it(both: Version, bar: Bar) -> None:
    type_of(bar, 2).abilities.all().delete()
    for each in bar.full.abilities.all():
        each.pk, each.machine_type = None, bar.plain
        each.save()
    assert set(variants_of(plan_of(both, bar.cast.head_roaster)).values()) == {None}


def type_of(bar: Bar, station: int) -> MachineType:
    return bar.stations[station].machine.machine_type


def test_what_is_placed_is_what_was_signed(placed: Version, bar: Bar) -> None:
    every = list(Placement.objects.in_force().select_related("settings", "signature", "slot"))
    assert not misfits(every)
    there = held(at(bar, 2))
    tamper("UPDATE stations_controlsettings SET variant_id = NULL WHERE id = %s", there.settings_id)
    assert "variant" in misfits([held(there.slot)])[there.pk]
    whole = held(at(bar, 0))
    lies = "UPDATE stations_controlsettings SET variant_id = (SELECT max(id) FROM"
    tamper(f"{lies} stations_machinetype) WHERE id = %s", whole.settings_id)
    assert "variant" in misfits([held(whole.slot)])[whole.pk]


def test_with_no_plan_kept_the_history_says_which(placed: Version, bar: Bar) -> None:
    for station in (2, 0):
        there = held(at(bar, station))
        kept = "DELETE FROM people_signedcontent WHERE signature_id = %s"
        tamper(kept, there.signature_id)
        assert not misfits([there])
        lies = "UPDATE stations_controlsettings SET variant_id = %s WHERE id = %s"
        tamper(lies, None if there.settings.variant_id else bar.plain.pk, there.settings_id)
        assert "variant" in misfits([held(there.slot)])[there.pk]


def test_a_calibration_translates_the_variant_anew(placed: Version, bar: Bar) -> None:
    station = bar.stations[2]
    before = held(at(bar, 2)).settings.values
    accept(measure(station, "4.3", bar.cast.technician), bar.cast.technician)
    now = held(at(bar, 2))
    assert now.settings.variant_id == bar.plain.pk
    assert now.settings.values["water_volume"] != before["water_volume"]
    assert now.settings.cup is not None
    assert now.settings.cup["beverage_mass"]["target"] == "34.0"
    assert not misfits([now])


def test_a_permit_bends_the_variant_and_nothing_else(placed: Version, bar: Bar) -> None:
    slot = at(bar, 2)
    before = held(slot).settings.values
    permit([slot], bar.cast.head_roaster)
    now = held(slot)
    assert now.settings.variant_id == bar.plain.pk
    different = {code for code in before if before[code] != now.settings.values[code]}
    assert different == {"brew_temperature"}
    assert "brew_pressure" not in now.settings.values
    assert not misfits([now])
