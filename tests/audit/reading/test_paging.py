"""Walking the pages finds exactly the entries asked for, once each, in both directions."""

from datetime import date

import pytest

from audit.capture.models import Entry
from audit.reading.queries import HistoryFilter, page_of, visible
from tests.audit import past

pytestmark = pytest.mark.django_db
SIZE = 7

SEVERAL = [
    HistoryFilter(site=8, parameter="brew_temperature"),
    HistoryFilter(actor=3, action="slot.read_back"),
    HistoryFilter(actor=3, site=3),
    HistoryFilter(actor=3, site=4, action="slot.read_back", since=date(2016, 5, 1)),
    HistoryFilter(subject_type="slot", subject_id=77, site=1),
    HistoryFilter(action="site.changed", parameter="dose_mass", until=date(2017, 3, 9)),
    HistoryFilter(operation="refused", actor=3),
    HistoryFilter(site=10**6, parameter="brew_temperature"),
]
CASES = [
    *((wanted, None) for wanted in SEVERAL),
    (HistoryFilter(), None),
    (HistoryFilter(), frozenset[int]()),
    (HistoryFilter(), frozenset({1, 2, 30, 31})),
    (HistoryFilter(site=1), None),
    (HistoryFilter(site=1), frozenset({1})),
    (HistoryFilter(site=1), frozenset({2})),
    (HistoryFilter(subject_type="slot", subject_id=77), None),
    (HistoryFilter(subject_type="slot", subject_id=77), frozenset({5})),
    (HistoryFilter(actor=3, action="slot.read_back"), None),
    (HistoryFilter(actor=3, action="slot.read_back"), frozenset({1, 2})),
    (HistoryFilter(parameter="brew_temperature", site=8), None),
    (HistoryFilter(action="site.changed", since=date(2018, 3, 1)), None),
    (HistoryFilter(since=date(2017, 1, 2), until=date(2017, 3, 9)), frozenset({1, 7})),
]


def expected(wanted: HistoryFilter, scope: frozenset[int] | None) -> list[int]:
    """The same by reading everything."""
    pairs: dict[str, object] = {
        "site_id": wanted.site,
        "subject_id": wanted.subject_id,
        "actor_id": wanted.actor,
        "operation": wanted.operation,
    }
    pairs |= {"action": wanted.action, "parameter": wanted.parameter}
    return [
        entry.pk
        for entry in Entry.objects.order_by("-pk")
        if all(value in (None, getattr(entry, name)) for name, value in pairs.items())
        and (scope is None or entry.site_id is None or entry.site_id in scope)
        and (wanted.since is None or entry.at.date() >= wanted.since)
        and (wanted.until is None or entry.at.date() <= wanted.until)
    ]


@pytest.mark.parametrize(("wanted", "scope"), CASES)
def test_pages_hold_all_of_it_once(wanted: HistoryFilter, scope: frozenset[int] | None) -> None:
    past.write(1500)
    every, found = expected(wanted, scope), []
    page = page_of(wanted, scope, size=SIZE)
    assert page.newer_than is None
    while True:
        found += [entry.pk for entry in page.entries]
        if page.older_than is None:
            break
        page = page_of(wanted, scope, before=page.older_than, size=SIZE)
    assert found == every
    back = [entry.pk for entry in page.entries]
    while page.newer_than is not None:
        page = page_of(wanted, scope, after=page.newer_than, size=SIZE)
        back = [entry.pk for entry in page.entries] + back
    assert back == every


@pytest.mark.parametrize("wanted", SEVERAL)
@pytest.mark.parametrize("effort", [1, 3, 50])
def test_short_pages_hold_all_of_it_too(wanted: HistoryFilter, effort: int) -> None:
    """Where conditions seldom meet a page looks so far and no further; the next goes on there."""
    past.write(600)
    every, found = expected(wanted, None), []
    page = page_of(wanted, None, size=SIZE, effort=effort)
    assert page.newer_than is None
    while True:
        found += [entry.pk for entry in page.entries]
        if page.older_than is None:
            break
        at, page = (
            page.older_than,
            page_of(wanted, None, before=page.older_than, size=SIZE, effort=effort),
        )
        assert page.older_than is None or page.older_than < at
    assert found == every
    back = [entry.pk for entry in page.entries]
    while page.newer_than is not None:
        page = page_of(wanted, None, after=page.newer_than, size=SIZE, effort=effort)
        back = [entry.pk for entry in page.entries] + back
    assert back == every


def test_days_are_those_of_the_zone() -> None:
    """1 January 2016 begins seven hours later in Denver than in UTC."""
    past.write(1500)
    utc = HistoryFilter(since=date(2016, 1, 1), until=date(2016, 1, 31))
    denver = HistoryFilter(since=utc.since, until=utc.until, zone="America/Denver")
    here, there = (page_of(f, None, size=100).entries for f in (utc, denver))
    assert here[-1].at.isoformat() >= "2016-01-01T00:00:00+00:00"
    assert there[-1].at.isoformat() >= "2016-01-01T07:00:00+00:00"
    assert there[0].at.isoformat() < "2016-02-01T07:00:00+00:00"


def test_one_entry_is_found_only_within_the_scope() -> None:
    past.write(100)
    for entry in Entry.objects.all():
        mine = visible(frozenset({1})).filter(pk=entry.pk).exists()
        assert mine == (entry.site_id in (None, 1))
