"""A permit on a recipe that leaves the water to the stations changes only what it names."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from recipes.permits.plan import Changes, PermitPlan, make_permit_plan
from recipes.publishing import run
from recipes.publishing.scope import Scope, Where
from tests.bar import Bar
from tests.publishing import Publish
from tests.recipes.calibrating import holds
from tests.recipes.permits.hands import COOLER, granting
from tests.recipes.station_water.test_own_water import STEADY, own_water, pull

pytestmark = pytest.mark.django_db
HEAVY = ["33.0"] * 12  # shots after which the station would get more water


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """Every slot holds a version with a taper that leaves the water to its station."""
    run.run(send().pk)
    pull(bar, bar.slots[0], STEADY)
    version = own_water(bar, taper_start=("92", "1", "1"), taper_pressure=("6", "1", "1"))
    run.run(send(version).pk)
    return bar


def planned(bar: Bar, ends_at: datetime, changes: Changes = COOLER) -> PermitPlan:
    ids = [slot.pk for slot in bar.slots]
    return make_permit_plan(slots=ids, changes=changes, ends_at=ends_at, by=bar.cast.head_roaster)


def water_of(bar: Bar, at: int) -> str:
    return str(holds(bar.slots[at]).settings.values["water_volume"]["value"])


def test_the_water_and_the_taper_stay_whatever_was_poured_since(placed: Bar) -> None:
    ends_at = datetime.now(UTC) + timedelta(days=3)
    before = planned(placed, ends_at)
    pull(placed, placed.slots[0], HEAVY)
    after = planned(placed, ends_at)
    assert after.digest == before.digest
    for line in after.lines:
        assert line.translation is not None
        assert line.held is not None
        held = line.held.settings.values
        changed = {code for code, value in line.translation.values.items() if held[code] != value}
        assert changed == {"brew_temperature"}


def test_it_is_granted_with_the_water_that_was_held(placed: Bar) -> None:
    before = [water_of(placed, at) for at in range(len(placed.slots))]
    pull(placed, placed.slots[0], HEAVY)
    permit = granting(placed.slots, placed.cast.head_roaster)()
    assert [water_of(placed, at) for at in range(len(placed.slots))] == before
    assert {holds(slot).basis_id for slot in placed.slots} == {permit.pk}


def test_slots_of_one_station_keep_each_its_own(bar: Bar, send: Publish) -> None:
    run.run(send().pk)
    first, second = bar.stations[0].slots.order_by("number")[:2]
    pull(bar, first, STEADY)
    version = own_water(bar)
    run.run(send(version, Scope(Where.ALL, slot_numbers=(1,))).pk)
    pull(bar, second, ["49.0"] * 12)  # the station keeps a little more by now
    run.run(send(version, Scope(Where.ALL, slot_numbers=(2,))).pk)
    before = [holds(slot).settings.values["water_volume"]["value"] for slot in (first, second)]
    assert before[0] < before[1]
    granting([first, second], bar.cast.head_roaster)()
    after = [holds(slot).settings for slot in (first, second)]
    assert [each.values["water_volume"]["value"] for each in after] == before
    assert {each.values["brew_temperature"]["value"] for each in after} == {"92.0"}


def test_another_dose_gets_the_water_it_takes(placed: Bar) -> None:
    ends_at = datetime.now(UTC) + timedelta(days=3)
    changes: Changes = {"dose_mass": Decimal("19.0")}
    before = planned(placed, ends_at, changes)
    line = next(line for line in before.lines if line.slot == placed.slots[0])
    assert line.translation is not None
    # A gram more coffee keeps back about 1.1 g more: 1.1 mL x 4 pulses per mL.
    more = int(line.translation.values["water_volume"]["value"]) - int(water_of(placed, 0))
    assert more == pytest.approx(4.4, abs=1)
    pull(placed, placed.slots[0], HEAVY)
    assert planned(placed, ends_at, changes).digest == before.digest
