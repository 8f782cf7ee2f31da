"""Grinders: a site's own, with a log that only grows."""

from collections.abc import Callable
from decimal import Decimal

import pytest
from django.db import Error, connection, transaction

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Stale
from stations.grinders.actions import add_grinder, change_grinder, set_grinder, work_on_grinder
from stations.grinders.models import Grinder, GrinderEvent, GrinderStation
from tests.cast import Cast
from tests.grinders import grinder_of
from tests.stations.conftest import Bar


def test_a_grinder_stands_at_a_mark_from_the_first_moment(bar: Bar, cast: Cast) -> None:
    grinder = grinder_of(bar.first, cast.owner, "12.5")
    (event,) = grinder.events.all()
    assert (event.setting, event.kind) == (Decimal("12.5"), "set")
    assert list(Grinder.objects.of_station(bar.first)) == [grinder]
    assert grinder.finer_sign == -1


def test_its_log_says_who_when_and_why(bar: Bar, cast: Cast) -> None:
    grinder = grinder_of(bar.first, cast.owner)
    seen = grinder.events.latest("id").pk
    made = set_grinder(
        by=cast.barista, grinder=grinder, seen_event=seen, setting=Decimal(11), reason="Ran fast"
    )
    assert (made.setting, made.by, made.reason) == (11, cast.barista, "Ran fast")
    entry = Entry.objects.filter(action="grinder.set").latest("id")
    assert (entry.subject_type, entry.subject_id, entry.reason) == (
        "grinder", grinder.pk, "Ran fast",
    )  # fmt: skip
    with pytest.raises(Stale):
        set_grinder(
            by=cast.barista, grinder=grinder, seen_event=seen, setting=Decimal(10), reason="Again"
        )


def test_new_burrs_are_the_technician_s_to_note(bar: Bar, cast: Cast) -> None:
    grinder = grinder_of(bar.first, cast.owner)
    seen, done = grinder.events.latest("id").pk, Decimal(9)
    with pytest.raises(NotPermitted):
        work_on_grinder(by=cast.barista, grinder=grinder, seen_event=seen, kind="burrs",
                        setting=done, reason="Worn")  # fmt: skip
    with pytest.raises(Invalid, match="kind"):
        work_on_grinder(by=cast.technician, grinder=grinder, seen_event=seen, kind="set",
                        setting=done, reason="Worn")  # fmt: skip
    event = work_on_grinder(by=cast.technician, grinder=grinder, seen_event=seen, kind="replaced",
                            setting=done, reason="Motor", serial_number="K-7")  # fmt: skip
    assert (event.kind, event.serial_number) == ("replaced", "K-7")


def test_it_serves_stations_of_its_own_site(bar: Bar, cast: Cast) -> None:
    with pytest.raises(Invalid, match="own site"):
        add_grinder(by=cast.owner, site=cast.site, name="Far", finer="lower",
                    stations=[bar.away], setting=Decimal(3))  # fmt: skip
    grinder = grinder_of(bar.first, cast.owner)
    changed = change_grinder(
        by=cast.owner, grinder=grinder, revision=grinder.revision, name="House", finer="higher",
        stations=[bar.second],
    )  # fmt: skip
    assert [each.station for each in changed.serves.all()] == [bar.second]
    assert (changed.name, changed.finer_sign) == ("House", 1)
    with pytest.raises(Stale):
        change_grinder(by=cast.owner, grinder=grinder, revision=1, name="Bar", finer="lower",
                       stations=[])  # fmt: skip


def test_a_name_stands_for_one_grinder_of_a_site(bar: Bar, cast: Cast) -> None:
    grinder_of(bar.first, cast.owner)
    with pytest.raises(Invalid, match="no other grinder"):
        grinder_of(bar.second, cast.owner)


ATTACKS: dict[str, Callable[[Grinder, Bar], object]] = {
    "another mark": lambda grinder, bar: GrinderEvent.objects.update(setting=3),
    "no reason": lambda grinder, bar: GrinderEvent.objects.create(
        grinder=grinder, kind="set", setting=3, reason="", by_id=1
    ),
    "a line less": lambda grinder, bar: GrinderEvent.objects.all().delete(),
    "another site": lambda grinder, bar: Grinder.objects.update(site=bar.away.machine.site),
    "a station elsewhere": lambda grinder, bar: GrinderStation.objects.create(
        grinder=grinder, station=bar.away
    ),
    "no direction": lambda grinder, bar: Grinder.objects.update(finer="left"),
    "emptied": lambda grinder, bar: connection.cursor().execute("TRUNCATE stations_grinderevent"),
}


@pytest.mark.parametrize("attack", ATTACKS)
def test_the_database_keeps_it_too(attack: str, bar: Bar, cast: Cast) -> None:
    grinder = grinder_of(bar.first, cast.owner)
    with pytest.raises(Error), transaction.atomic():
        ATTACKS[attack](grinder, bar)
