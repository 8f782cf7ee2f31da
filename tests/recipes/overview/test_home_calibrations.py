"""Calibrations on Home: overdue, due soon and never, for whoever covers the site and may act."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from audit.capture.context import recorded
from people.persons.models import User
from recipes.overview.home import SHOWN, Item, work_lists
from stations.calibrations.actions import CALIBRATION_RECORDED
from stations.calibrations.models import Calibration
from stations.equipment.models import Machine
from tests.bar import Bar, station
from tests.cast import SignedIn
from tests.recipes.calibrating import accept, measure


def lines(user: User) -> list[Item]:
    found = {one.title: one.items for one in work_lists(User.objects.get(pk=user.pk))}
    return found.get("Calibrations due", [])


def due(bar: Bar, at: int, days: int) -> Calibration:
    """An accepted calibration that has to be repeated in so many days; nobody records a past one,
    so the row of an ordinary one is copied with another day."""
    by = bar.cast.technician
    made = measure(bar.stations[at], "4.00", by)
    made.pk, made.due_on = None, timezone.now().date() + timedelta(days=days)
    with recorded(by=by, action=CALIBRATION_RECORDED):
        made.save(force_insert=True)
    return accept(Calibration.objects.with_place().get(pk=made.pk), by)


def test_never_calibrated_stations_wait_for_those_who_may(bar: Bar) -> None:
    cast = bar.cast
    for person in (cast.technician, cast.head_roaster):
        assert [line.mark for line in lines(person)] == ["missing"] * 4
    assert [line.site for line in lines(cast.shop_lead)] == ["Harbour"] * 3
    assert [line.site for line in lines(cast.other_lead)] == ["Upland"]
    assert lines(cast.barista) == lines(cast.owner) == []


@pytest.mark.parametrize(("days", "mark"), [(15, None), (14, "due"), (0, "due"), (-1, "overdue")])
def test_due_within_a_fortnight(bar: Bar, days: int, mark: str | None) -> None:
    measured = due(bar, 0, days)
    found = [line for line in lines(bar.cast.technician) if line.mark != "missing"]
    assert [line.mark for line in found] == ([mark] if mark else [])
    assert len(lines(bar.cast.technician)) == (4 if mark else 3)
    for line in found:
        assert line.url == f"/stations/{measured.station_id}/#calibrations"
        assert "flow meter due" in line.text


def test_a_newer_one_takes_its_place(bar: Bar) -> None:
    due(bar, 0, -3)
    due(bar, 0, 200)
    assert all(line.mark == "missing" for line in lines(bar.cast.technician))


def test_the_page_leads_to_where_it_is_done(bar: Bar, signed_in: SignedIn) -> None:
    page = signed_in(bar.cast.technician).get("/").content.decode()
    assert "Never calibrated" in page
    assert f'href="/stations/{bar.stations[0].pk}/#calibrations"' in page


def test_it_asks_no_more_with_more_stations(bar: Bar) -> None:
    who = bar.cast.technician

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            work_lists(User.objects.get(pk=who.pk))
        return len(queries)

    few = asked()
    machine = Machine.objects.get(pk=bar.stations[0].machine_id)
    for number in range(10, 10 + SHOWN):
        station(machine, number, "4.00")
    due(bar, 0, 3)
    assert asked() == few
    [found] = [one for one in work_lists(who) if one.title == "Calibrations due"]
    assert (len(found.items), found.more) == (SHOWN, True)
