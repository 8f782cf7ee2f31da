"""A recipe that says what is in the cup: each station gets the water that yields it there."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from audit.capture.context import recorded
from audit.errors import Invalid, Refused
from people.persons.actions import PERSON_ADDED
from recipes.publishing import actions, run
from recipes.publishing.actions import publish
from recipes.publishing.plan import PublicationPlan, make_plan
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.recalibration.plan import make_retranslation_plan
from recipes.translation.translating import StationTranslation
from recipes.versions.models import Version
from stations.equipment.models import Slot, Station
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from tests.bar import DOUBLE, Bar, approved, draft
from tests.cast import credentials
from tests.publishing import EVERYWHERE, Publish, ordered, plan_of
from tests.recipes.calibrating import holds, measure

STATED = {code: value for code, value in DOUBLE.items() if code != "water_volume"}
STEADY = ["50.0", "50.4", "49.8", "50.2", "50.1", "49.9", "50.3", "49.7"]


def own_water(bar: Bar, **changes: tuple[str, str | None, str | None]) -> Version:
    """The next approved version, which states the cup and no water."""
    formula = {**STATED, **changes}
    with recorded(by=None, action=PERSON_ADDED):
        return approved(bar.cast, draft(bar.cast, formula, bar.version.recipe))


def pull(bar: Bar, slot: Slot, masses: list[str]) -> None:
    """Log check shots of 18 g that gave these beverages [g]."""
    for mass in masses:
        shot = Weighed(Decimal("18.0"), Decimal(mass), Decimal(28))
        log_shot(slot=slot, shot=shot, by=bar.cast.head_roaster)


def at(plan: PublicationPlan, station: Station) -> StationTranslation:
    return plan.stations[station.pk]


@pytest.fixture
def known(bar: Bar, send: Publish) -> Bar:
    """The first station has poured 70 mL eight times, for about 50 g: it keeps 1.1 g/g."""
    run.run(send().pk)
    pull(bar, bar.stations[0].slots.all()[0], STEADY)
    return bar


def test_a_station_without_shots_gets_it_by_common_practice_and_says_so(bar: Bar) -> None:
    plan = plan_of(own_water(bar), bar.cast.head_roaster)
    first = at(plan, bar.stations[0])
    # (36 + 1.0 x 18) g / 0.9982 g/mL = 54.097 mL; at 4 pulses per mL 216.39, by hand.
    assert first.values["water_volume"] == {"value": "216", "unit": "{pulse}"}
    assert at(plan, bar.stations[1]).values["water_volume"]["value"] == "222"  # 4.1: 221.80
    assert first.expected is not None
    assert not first.expected.learnt
    assert first.expected.water == Decimal("54.000")  # as its whole pulses deliver it
    assert not first.refusals
    assert "common practice" in first.flags[0]
    # 0.8 to 1.3 g/g of 18 g: wider than the 2 g allowed, so somebody accepts it by name.
    assert "30.6 to 39.6 g" in plan.to_acknowledge[0]


def test_a_station_that_is_known_gets_it_by_its_shots(known: Bar) -> None:
    plan = plan_of(own_water(known), known.cast.head_roaster)
    first, second = (at(plan, station) for station in known.stations[:2])
    assert first.expected is not None
    assert (first.expected.learnt, first.expected.used) == (True, 8)
    # It poured 50.05 g from 70 mL on average; 14.05 g less takes 14.05 / 0.9982 mL less.
    # That is 55.925 mL, and at 4 pulses per mL 223.70.
    assert first.values["water_volume"]["value"] == "224"
    assert first.expected.water == Decimal("56.000")
    assert float(first.expected.mass) == pytest.approx(36 + 0.075 * 0.9982, abs=0.05)
    assert first.expected.low < 36 < first.expected.high
    assert not first.flags
    assert second.expected is not None
    assert not second.expected.learnt


def test_what_was_signed_is_placed_and_later_shots_change_nothing(
    known: Bar, send: Publish
) -> None:
    version, slot = own_water(known), known.slots[0]
    run.run(send(version).pk)
    assert holds(slot).settings.values["water_volume"]["value"] == "224"
    placed = holds(slot)
    pull(known, slot, ["33.0"] * 12)
    assert holds(slot).pk == placed.pk
    assert holds(slot).settings.values["water_volume"]["value"] == "224"
    later = at(plan_of(version, known.cast.head_roaster), known.stations[0])
    assert int(later.values["water_volume"]["value"]) > 224


def test_scattering_cups_that_cannot_hold_the_tolerance_are_refused(
    bar: Bar, send: Publish
) -> None:
    run.run(send().pk)
    slot = bar.stations[0].slots.all()[0]
    pull(bar, slot, ["46.0", "54.0", "47.0", "53.0", "45.0", "55.0"])
    version = own_water(bar)
    found = at(plan_of(version, bar.cast.head_roaster), bar.stations[0])
    assert "yield 36 g ±2 g can't be held here: by 6 check shots" in found.refusals[0]
    placed = send(version)
    run.run(placed.pk)
    assert holds(slot).settings.values["water_volume"]["value"] == "280"
    assert holds(bar.stations[1].slots.all()[0]).basis_id == placed.pk


def test_without_a_tolerance_nothing_is_refused(bar: Bar, send: Publish) -> None:
    run.run(send().pk)
    pull(bar, bar.stations[0].slots.all()[0], ["46.0", "54.0", "47.0", "53.0", "45.0", "55.0"])
    open_ended = own_water(bar, beverage_mass=("36.0", None, None))
    plan = plan_of(open_ended, bar.cast.head_roaster)
    assert not at(plan, bar.stations[0]).refusals
    assert plan.to_acknowledge == []


def test_a_taper_is_a_share_of_the_stations_own_water(known: Bar) -> None:
    tapered = own_water(known, taper_start=("92", "1", "1"), taper_pressure=("6", "1", "1"))
    plan = plan_of(tapered, known.cast.head_roaster)
    values = at(plan, known.stations[0]).values
    # 55.925 mL x 4 x 0.92 = 205.80: of the water itself, not of its whole pulses.
    assert (values["water_volume"]["value"], values["taper_start"]["value"]) == ("224", "206")


def test_a_shot_logged_while_the_plan_is_read_moves_nothing(known: Bar) -> None:
    who, version = known.cast.head_roaster, own_water(known)
    seen = plan_of(version, who)
    pull(known, known.slots[0], ["44.0", "45.0"])
    order = ordered(version, EVERYWHERE, When(), "Cup", seen.digest, acknowledged=True)
    with pytest.raises(Refused, match="moved"):
        publish(**order, by=who, credentials=credentials(who))
    kept = ordered(
        version, EVERYWHERE, When(), "Cup", seen.digest, acknowledged=True,
        learnt_until=seen.learnt_until,
    )  # fmt: skip
    run.run(publish(**kept, by=who, credentials=credentials(who)).pk)
    assert holds(known.slots[0]).settings.values["water_volume"]["value"] == "224"


def test_what_was_learnt_is_held_against_the_clock_not_the_transaction(
    known: Bar, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(actions, "CLOCKS", timedelta(0))
    who, version = known.cast.head_roaster, own_water(known)
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT now()")
        seen = plan_of(version, who)  # learnt after the transaction began
        order = ordered(
            version, EVERYWHERE, When(), "Cup", seen.digest, acknowledged=True,
            learnt_until=seen.learnt_until,
        )  # fmt: skip
        assert publish(**order, by=who, credentials=credentials(who)).pk


@pytest.mark.parametrize("moment", ["2020-01-01", "2099-01-01"])
def test_what_was_learnt_long_ago_or_later_than_now_is_not_signed(known: Bar, moment: str) -> None:
    who, version = known.cast.head_roaster, own_water(known)
    until = datetime.fromisoformat(moment).replace(tzinfo=UTC)
    seen = make_plan(
        version=version, scope=EVERYWHERE, when=When(), by=who, now=datetime.now(UTC),
        learnt_until=until,
    )  # fmt: skip
    order = ordered(
        version, EVERYWHERE, When(), "Cup", seen.digest, acknowledged=True, learnt_until=until
    )
    with pytest.raises(Refused, match="moved"):
        publish(**order, by=who, credentials=credentials(who))


def test_common_practice_takes_a_name(bar: Bar) -> None:
    who, version = bar.cast.head_roaster, own_water(bar)
    seen = plan_of(version, who)
    order = ordered(version, EVERYWHERE, When(), "Cup", seen.digest)
    with pytest.raises(Invalid, match="rests on common practice"):
        publish(**order, by=who, credentials=credentials(who))


def test_a_cup_no_water_could_yield_is_refused(bar: Bar) -> None:
    tiny = own_water(bar, dose_mass=("5.0", None, None), beverage_mass=("4.0", None, None))
    found = at(plan_of(tiny, bar.cast.head_roaster), bar.stations[0])
    assert any("is outside 10 to 500 mL" in each for each in found.refusals)
    assert any("9.016 mL" in each for each in found.refusals)


def test_one_station_or_all_take_the_same_queries(known: Bar) -> None:
    version, counts = own_water(known), []
    for scope in (Scope(Where.STATIONS, (known.stations[0].pk,)), EVERYWHERE):
        with CaptureQueriesContext(connection) as captured:
            plan_of(version, known.cast.head_roaster, scope)
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_a_shot_logged_while_a_calibration_is_read_moves_nothing(known: Bar, send: Publish) -> None:
    run.run(send(own_water(known)).pk)
    who, station = known.cast.technician, known.stations[0]
    measured = measure(station, "4.2", who)
    before = make_retranslation_plan(calibration=measured, by=who)
    pull(known, station.slots.all()[0], ["33.0"] * 12)
    assert make_retranslation_plan(calibration=measured, by=who).digest == before.digest
