"""Numbers, units and times as they are printed: digit for digit, in the site's own zone."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from web import printing

THIN = "\u202f"
WHEN = datetime(2026, 8, 1, 22, 30, 5, tzinfo=UTC)


@pytest.mark.parametrize(
    ("value", "printed"),
    [
        (Decimal("93.0"), "93.0"),
        (Decimal("-0.50"), "\u22120.50"),
        (Decimal("0.1") + Decimal("0.2"), "0.3"),
        (Decimal("1E+2"), "100"),
        (Decimal("1234"), "1234"),
        (14212, f"14{THIN}212"),
        (Decimal("-1234567.25"), f"\u22121{THIN}234{THIN}567.25"),
        (0, "0"),
        ("18.30", "18.30"),
        ("volume", "volume"),
        ("NaN", "NaN"),
        (None, "\u2013"),
        ("", "\u2013"),
        (True, "yes"),
    ],
)
def test_a_number_prints_as_stored(value: object, printed: str) -> None:
    assert printing.number(value) == printed


def test_a_float_is_refused() -> None:
    with pytest.raises(TypeError, match="Decimal"):
        printing.number(93.0)


@pytest.mark.parametrize(
    ("value", "code", "printed"),
    [
        (Decimal("93.0"), "Cel", "93.0\xa0°C"),
        (300, "{pulse}", "300\xa0pulses"),
        (1, "{pulse}", "1\xa0pulse"),
        (Decimal("1.0"), "{pulse}", "1.0\xa0pulses"),
        (-1, "d", "\u22121\xa0day"),
        (0, "{slot}", "0\xa0slots"),
        (Decimal(2), "1", "2"),
        ("volume", "", "volume"),
        (None, "bar", "\u2013"),
        (Decimal(3), "{unheard-of}", "3\xa0unheard-of"),
    ],
)
def test_a_quantity_has_its_printed_unit(value: object, code: str, printed: str) -> None:
    assert printing.quantity(value, code) == printed


@pytest.mark.parametrize(
    ("below", "above", "printed"),
    [
        (Decimal("0.5"), Decimal("0.5"), "\u22120.5 / +0.5"),
        (None, Decimal(3), "+3"),
        (Decimal(2), None, "\u22122"),
        (None, None, ""),
    ],
)
def test_tolerances_go_either_way(below: object, above: object, printed: str) -> None:
    assert printing.tolerance(below, above) == printed


# Offsets and abbreviations: IANA time zone database.
@pytest.mark.parametrize(
    ("zone", "printed"),
    [
        ("Europe/Lisbon", "1 Aug 2026, 23:30 WEST"),
        ("America/Denver", "1 Aug 2026, 16:30 MDT"),
        ("Asia/Kathmandu", "2 Aug 2026, 04:15 UTC+5:45"),
        ("America/Bogota", "1 Aug 2026, 17:30 UTC\u22125"),
        ("Etc/GMT-10", "2 Aug 2026, 08:30 UTC+10"),
        ("", "1 Aug 2026, 22:30 UTC"),
        (None, "1 Aug 2026, 22:30 UTC"),
    ],
)
def test_a_moment_is_told_in_the_sites_zone(zone: str | None, printed: str) -> None:
    assert printing.moment(WHEN, zone) == printed


def test_a_moment_can_be_told_to_the_second() -> None:
    assert printing.moment(WHEN, None, seconds=True) == "1 Aug 2026, 22:30:05 UTC"


def test_the_date_is_the_sites_own() -> None:
    assert printing.day(WHEN, "Asia/Kathmandu") == "2 Aug 2026"
    assert printing.day(date(2026, 9, 3)) == "3 Sep 2026"


@pytest.mark.parametrize(
    ("since", "printed"),
    [
        (timedelta(days=3, hours=5), "3\xa0days"),
        (timedelta(minutes=1), "1\xa0minute"),
        (timedelta(days=-2), "in 2\xa0days"),
        (timedelta(seconds=59), "just now"),
        (timedelta(0), "just now"),
        (timedelta(seconds=-5), "in a moment"),
    ],
)
def test_age_is_the_largest_whole_unit(since: timedelta, printed: str) -> None:
    assert printing.age(WHEN - since, WHEN) == printed


def test_a_digest_is_shortened_to_compare_by_eye() -> None:
    assert printing.short_digest("9f86d081884c7d65") == f"9f86{THIN}d081{THIN}884c"
