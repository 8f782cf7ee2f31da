"""How far an opening check is: what counts, and what asks again."""

from datetime import UTC, datetime, time, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from people.persons.models import User
from recipes.publishing import run
from stations.equipment.models import Slot
from stations.grinders.actions import set_grinder, work_on_grinder
from stations.opening.actions import set_opening
from stations.opening.checking import SlotCheck, StationCheck, station_checks
from stations.opening.models import OpeningPolicy
from stations.opening.panel import missing_words
from stations.shots.actions import correct_shot, log_shot
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot
from stations.today.day import day_of
from tests.bar import Bar, bar, station
from tests.grinders import grinder_of, opened_at
from tests.publishing import Publish, send
from tests.recipes.permits.test_permits import permit

__all__ = ["bar", "send"]
GOOD = Weighed(Decimal("18.0"), Decimal("36.0"), Decimal(28))
FAST = Weighed(Decimal("18.0"), Decimal("36.0"), Decimal(20))


@pytest.fixture
def open_bar(bar: Bar, send: Publish) -> Bar:
    """Everything in force; two good shots of each slot are asked for, of the whole day."""
    run.run(send().pk)
    ask(bar)
    return bar


def ask(bar: Bar, shots: int = 2, slots: str = "", since: timedelta = timedelta(hours=5)) -> None:
    """A policy whose day began a few hours ago, by the site's clock."""
    site = bar.cast.site
    local = site.local(timezone.now())
    seen = OpeningPolicy.of(site)
    set_opening(
        by=bar.cast.shop_lead, site=site, revision=seen.revision, shots=shots, slots=slots,
        counts_from=(local - since).time().replace(second=0, microsecond=0),
        opens_at=(local + timedelta(hours=1)).time().replace(second=0, microsecond=0),
    )  # fmt: skip


def checks(bar: Bar, at: datetime | None = None) -> list[StationCheck]:
    return station_checks([bar.cast.site.pk], at or timezone.now())


def of(bar: Bar, slot: Slot) -> SlotCheck:
    return next(s for check in checks(bar) for s in check.slots if s.slot_id == slot.pk)


def pull(bar: Bar, slot: Slot, *shots: Weighed) -> CheckShot:
    for shot in shots:
        made = log_shot(by=bar.cast.barista, slot=slot, shot=shot)
    return made


def test_every_slot_in_use_is_asked_for(open_bar: Bar) -> None:
    found = checks(open_bar)
    assert [len(check.slots) for check in found] == [2, 2, 2]  # upland asks for nothing
    assert [check.words for check in found] == ["0 of 2 checked"] * 3
    pull(open_bar, open_bar.slots[0], GOOD)
    assert of(open_bar, open_bar.slots[0]).words == "Slot 1: 1 of 2"
    pull(open_bar, open_bar.slots[0], GOOD)
    assert of(open_bar, open_bar.slots[0]).done
    assert checks(open_bar)[0].words == "1 of 2 checked"


def test_named_slots_alone_and_none_at_all(open_bar: Bar) -> None:
    ask(open_bar, slots="2, 1, 2")
    assert OpeningPolicy.objects.get().slots == "1,2"
    ask(open_bar, slots="2")
    assert [[slot.number for slot in check.slots] for check in checks(open_bar)] == [[2]] * 3
    ask(open_bar, shots=0)
    assert checks(open_bar) == []


def test_one_out_of_tolerance_begins_anew_and_says_so(open_bar: Bar) -> None:
    slot = open_bar.slots[0]
    bad = pull(open_bar, slot, GOOD, FAST)
    assert (of(open_bar, slot).good, of(open_bar, slot).was_out) == (0, True)
    assert checks(open_bar)[0].mark == "outside"
    pull(open_bar, slot, GOOD, GOOD)
    assert of(open_bar, slot).done
    pull(open_bar, slot, FAST)
    assert not of(open_bar, slot).done
    left_out = Weighed(FAST.dose_mass, FAST.beverage_mass, FAST.shot_time, left_out=True)
    for shot in CheckShot.objects.filter(verdict="outside").order_by("-pk"):
        correct_shot(
            by=open_bar.cast.barista, shot=shot, seen_corrections=0, to=left_out, reason="Spilt"
        )
    assert of(open_bar, slot).good == 3
    assert bad.pk


def test_yesterday_s_shots_are_of_another_day(open_bar: Bar) -> None:
    slot = open_bar.slots[0]
    pull(open_bar, slot, GOOD, GOOD)
    policy = OpeningPolicy.of(open_bar.cast.site)
    tomorrow = policy.day_began(timezone.now()) + timedelta(days=1, minutes=1)
    [first, *_] = checks(open_bar, tomorrow)
    assert first.slots[0].good == 0


def test_what_comes_into_force_asks_again(open_bar: Bar) -> None:
    slot = open_bar.slots[0]
    pull(open_bar, slot, GOOD, GOOD)
    permit([slot], open_bar.cast.head_roaster)
    assert of(open_bar, slot).good == 0
    assert of(open_bar, open_bar.slots[1]).good == 0
    pull(open_bar, slot, GOOD)
    assert of(open_bar, slot).good == 1


def test_a_bag_and_new_burrs_ask_again_a_collar_does_not(open_bar: Bar) -> None:
    cast, slot = open_bar.cast, open_bar.slots[0]
    grinder = grinder_of(open_bar.stations[0], cast.head_roaster)
    pull(open_bar, slot, GOOD, GOOD)
    set_grinder(
        by=cast.barista, grinder=grinder, seen_event=grinder.events.first().pk,  # type: ignore[union-attr]
        setting=Decimal(11), reason="Slow",
    )  # fmt: skip
    assert of(open_bar, slot).done
    opened_at(grinder, open_bar.version.recipe.coffee, cast.head_roaster)
    assert of(open_bar, slot).good == 0
    assert of(open_bar, open_bar.slots[2]).good == 0
    pull(open_bar, slot, GOOD, GOOD)
    assert of(open_bar, slot).done
    work_on_grinder(
        by=cast.technician, grinder=grinder, seen_event=grinder.events.first().pk,  # type: ignore[union-attr]
        kind="burrs", setting=Decimal(9), reason="Worn",
    )  # fmt: skip
    assert of(open_bar, slot).good == 0


def test_late_once_the_door_was_to_open(open_bar: Bar) -> None:
    assert {check.late for check in checks(open_bar)} == {False}
    later = timezone.now() + timedelta(hours=2)
    assert {check.mark for check in checks(open_bar, later)} == {"overdue"}


def test_a_day_begins_by_the_clock_on_the_wall(open_bar: Bar) -> None:
    """Lisbon put its clocks back on 25 October 2026: that day had 25 hours."""
    policy = OpeningPolicy(site=open_bar.cast.site, shots=1, counts_from=time(5), opens_at=time(7))
    at = datetime(2026, 10, 25, 4, 30, tzinfo=UTC)  # 4:30 in winter time
    assert policy.day_began(at) == datetime(2026, 10, 24, 4, tzinfo=UTC)
    assert policy.day_began(at + timedelta(hours=1)) == datetime(2026, 10, 25, 5, tzinfo=UTC)
    assert policy.door(at + timedelta(hours=1)) == datetime(2026, 10, 25, 7, tzinfo=UTC)
    night = OpeningPolicy(site=policy.site, shots=1, counts_from=time(18), opens_at=time(1))
    assert night.door(at).astimezone(night.site.zone).hour == 1


def test_today_leads_to_the_first_slot_that_is_missing(open_bar: Bar) -> None:
    pull(open_bar, open_bar.slots[0], GOOD, GOOD)
    pull(open_bar, open_bar.slots[1], FAST)
    [harbour] = day_of(User.objects.get(pk=open_bar.cast.barista.pk)).sites
    front = next(s for s in harbour.stations if s.station == open_bar.stations[0])
    need = next(n for n in front.needs if "checked" in n.words)
    assert need.words == "1 of 2 checked, slot 2 was out of tolerance"
    assert need.url == f"/at/{open_bar.stations[0].code}/?slot=2"


def test_it_asks_two_questions_whatever_there_is(open_bar: Bar) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            checks(open_bar)
        return len(queries)

    assert asked() == 2
    for number in range(10, 20):
        station(open_bar.stations[0].machine, number, "4.00", slots=6)
    pull(open_bar, open_bar.slots[0], *[GOOD] * 10)
    assert asked() == 2


def test_what_is_missing_is_said_of_one_and_of_many() -> None:
    def words(*was_out: bool) -> str:
        slots = [SlotCheck(1, 1, at, at, 1, 0, out) for at, out in enumerate(was_out, 1)]
        return missing_words(StationCheck(1, 1, timezone.now(), late=False, slots=slots))

    assert words(True, False) == "slot 1 was out of tolerance; slot 2 missing"
    assert words(True, True, False, False) == (
        "slots 1, 2 were out of tolerance; slots 3, 4 missing"
    )
