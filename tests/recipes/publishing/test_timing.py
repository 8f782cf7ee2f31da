"""One wall-clock moment at sites in many zones: gaps, folds, past moments and far ones.

The instants are those of the IANA time zone database (package tzdata 2025 or newer, or the
system's), worked out from its transition rules, named beside each case.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.errors import Invalid
from recipes.publishing.timing import When, due_at
from stations.equipment.models import Site

LONG_AGO = datetime(2000, 1, 1, tzinfo=UTC)


def site(zone: str) -> Site:
    return Site(code="x", name="X", time_zone=zone)


def shortly_before(wall: datetime) -> datetime:
    """A now from which every zone's reading of that wall clock lies ahead."""
    return wall.replace(tzinfo=UTC) - timedelta(days=3)


def due(zone: str, wall: str) -> tuple[str, str]:
    """Instant and note for a wall-clock time, seen from a few days before."""
    local = datetime.fromisoformat(wall)
    found = due_at(site(zone), When(local.date(), local.time()), shortly_before(local))
    return found.at.isoformat().removesuffix("+00:00"), found.note


@pytest.mark.parametrize(
    ("zone", "wall", "instant"),
    [
        # EU: from the last Sunday of March, 01:00 UTC, to the last of October, 01:00 UTC.
        ("Europe/Lisbon", "2026-03-28T06:00", "2026-03-28T06:00:00"),
        ("Europe/Lisbon", "2026-03-29T06:00", "2026-03-29T05:00:00"),
        ("Europe/Lisbon", "2026-10-25T06:00", "2026-10-25T06:00:00"),
        # US: from the second Sunday of March to the first of November, 02:00 local.
        ("America/Denver", "2026-03-07T06:00", "2026-03-07T13:00:00"),
        ("America/Denver", "2026-03-08T06:00", "2026-03-08T12:00:00"),
        # Half an hour of summer time, from the first Sunday of October to the first of April.
        ("Australia/Lord_Howe", "2026-07-01T06:00", "2026-06-30T19:30:00"),
        ("Australia/Lord_Howe", "2026-12-01T06:00", "2026-11-30T19:00:00"),
        # Forty-five minutes off the hour, all year.
        ("Asia/Kathmandu", "2026-07-01T06:00", "2026-07-01T00:15:00"),
    ],
)
def test_an_ordinary_morning(zone: str, wall: str, instant: str) -> None:
    assert due(zone, wall) == (instant, "")


@pytest.mark.parametrize(
    ("zone", "wall", "instant", "shown"),
    [
        # 01:00 becomes 02:00; every time in between is the moment of the change.
        ("Europe/Lisbon", "2026-03-29T01:00", "2026-03-29T01:00:00", "02:00"),
        ("Europe/Lisbon", "2026-03-29T01:30", "2026-03-29T01:00:00", "02:00"),
        ("Europe/Lisbon", "2026-03-29T01:59:59", "2026-03-29T01:00:00", "02:00"),
        ("America/Denver", "2026-03-08T02:30", "2026-03-08T09:00:00", "03:00"),
        # 02:00 becomes 02:30.
        ("Australia/Lord_Howe", "2026-10-04T02:15", "2026-10-03T15:30:00", "02:30"),
        # Midnight itself is skipped: 00:00 becomes 01:00.
        ("Africa/Cairo", "2026-04-24T00:10", "2026-04-23T22:00:00", "01:00"),
        # 30 December 2011 never was in Samoa: from UTC-10 to UTC+14.
        ("Pacific/Apia", "2011-12-30T06:00", "2011-12-30T10:00:00", "00:00 on 2011-12-31"),
        ("Pacific/Apia", "2011-12-30T23:59", "2011-12-30T10:00:00", "00:00 on 2011-12-31"),
    ],
)
def test_a_time_that_is_skipped_is_the_moment_after(
    zone: str, wall: str, instant: str, shown: str
) -> None:
    assert due(zone, wall) == (instant, f"the clock skips this time that day: {shown} is meant")


@pytest.mark.parametrize(
    ("zone", "wall", "instant"),
    [
        ("Europe/Lisbon", "2026-10-25T01:30", "2026-10-25T00:30:00"),
        ("America/Denver", "2026-11-01T01:30", "2026-11-01T07:30:00"),
        # 02:00 becomes 01:30: only that half hour comes twice.
        ("Australia/Lord_Howe", "2026-04-05T01:45", "2026-04-04T14:45:00"),
    ],
)
def test_a_time_that_comes_twice_is_the_first(zone: str, wall: str, instant: str) -> None:
    assert due(zone, wall) == (
        instant,
        "the clock shows this time twice that day: the first is meant",
    )


@pytest.mark.parametrize(
    ("zone", "wall"),
    [
        # Just outside: the edges belong to ordinary time.
        ("Europe/Lisbon", "2026-03-29T00:59:59"), ("Europe/Lisbon", "2026-03-29T02:00"),
        ("Europe/Lisbon", "2026-10-25T00:59:59"), ("Europe/Lisbon", "2026-10-25T02:00"),
        ("Australia/Lord_Howe", "2026-10-04T02:30"), ("Australia/Lord_Howe", "2026-04-05T01:29"),
        ("Pacific/Apia", "2011-12-29T23:59"), ("Pacific/Apia", "2011-12-31T00:00"),
    ],
)  # fmt: skip
def test_the_edges_are_ordinary(zone: str, wall: str) -> None:
    instant, note = due(zone, wall)
    assert note == ""
    local = datetime.fromisoformat(instant).replace(tzinfo=UTC).astimezone(ZoneInfo(zone))
    assert local.replace(tzinfo=None).isoformat() == datetime.fromisoformat(wall).isoformat()


NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


def test_what_is_past_there_is_at_once_and_said() -> None:
    """Six in the morning is past in Lisbon at noon, and still to come in Denver at five."""
    when = When(date(2026, 11, 25), time(6))
    lisbon, denver = (
        due_at(site("Europe/Lisbon"), when, NOW),
        due_at(site("America/Denver"), when, NOW),
    )
    assert (lisbon.at, lisbon.note) == (NOW, "this moment has passed there: at once")
    assert (denver.at, denver.note) == (datetime(2026, 11, 25, 13, tzinfo=UTC), "")


def test_this_very_moment_is_at_once() -> None:
    assert due_at(site("UTC"), When(date(2026, 11, 25), time(12)), NOW).at == NOW
    assert due_at(site("UTC"), When(), NOW).at == NOW


@pytest.mark.parametrize("day", [date(2026, 11, 23), date(2027, 11, 26)])
def test_the_first_and_the_last_day_there_is(day: date) -> None:
    """Two days back is more than any two clocks differ; a leap year is 366 days."""
    expected = max(NOW, datetime.combine(day, time(12), UTC))
    assert due_at(site("UTC"), When(day, time(12)), NOW).at == expected


@pytest.mark.parametrize(
    "day", [date(2026, 11, 22), date(2027, 11, 27), date(1, 1, 1), date(9999, 12, 31)]
)
@pytest.mark.parametrize("zone", ["UTC", "Pacific/Apia", "America/Denver"])
def test_no_day_further_off(zone: str, day: date) -> None:
    with pytest.raises(Invalid) as told:
        due_at(site(zone), When(day, time(23, 59)), NOW)
    assert told.value.field == "date"
    assert "today or a day within the coming year" in told.value.message


@pytest.mark.parametrize(("day", "clock"), [(date(2026, 12, 1), None), (None, time(6))])
def test_a_day_without_a_time_is_no_moment(day: date | None, clock: time | None) -> None:
    with pytest.raises(Invalid, match="both a date and a time"):
        When(day, clock)


ZONES = st.sampled_from(
    ["Europe/Lisbon", "America/Denver", "Australia/Lord_Howe", "Pacific/Apia", "Africa/Cairo",
     "Asia/Kathmandu", "America/Asuncion", "Antarctica/Troll", "Africa/Casablanca", "UTC"]
)  # fmt: skip


# A wall clock knows no zone.
WALLS = st.datetimes(datetime(2008, 1, 1), datetime(2030, 12, 31))  # noqa: DTZ001


@given(ZONES, WALLS)
def test_whatever_the_zone_the_clock_there_shows_it(zone: str, wall: datetime) -> None:
    """The instant shows the wanted time, or the note says why not; and it is never too early."""
    wall = wall.replace(microsecond=0)
    found = due_at(site(zone), When(wall.date(), wall.time()), shortly_before(wall))
    shown = found.at.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
    if shown == wall:
        earlier = wall.replace(tzinfo=ZoneInfo(zone), fold=0).astimezone(UTC)
        assert found.at == earlier
    else:
        assert "skips" in found.note
        assert shown > wall
        just_before = (found.at - timedelta(seconds=1)).astimezone(ZoneInfo(zone))
        assert just_before.replace(tzinfo=None) < wall
