"""How values are written down: exactly, comparably, and nothing that is not to be seen."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest
import rfc8785

from audit.capture.models import Entry
from tests.audit.conftest import newest, since
from tests.audit.sample import Jar, Shelf, run

pytestmark = pytest.mark.django_db


@pytest.fixture
def jar(shelf: Shelf) -> Jar:
    return Jar.objects.create(shelf=shelf, name="salt", mass=Decimal("1.500"), secret="a")


def changes(mark: int) -> dict[str, list[object]]:
    (entry,) = since(mark)
    written: dict[str, list[object]] = entry.changes
    return written


def test_a_write_that_changes_nothing_leaves_no_entry(jar: Jar) -> None:
    mark = newest()
    jar.mass = Decimal("1.5")  # the same number with fewer zeros
    jar.save()
    Jar.objects.filter(pk=jar.pk).update(mass=Decimal("1.50"), name="salt")
    run("UPDATE sample_jar SET mass = 1.5000")
    Jar.objects.filter(pk=0).update(name="nobody")
    assert since(mark) == []


def test_numeric_without_scale_compares_by_value(jar: Jar) -> None:
    run("UPDATE sample_jar SET loose = 1.5")
    mark = newest()
    run("UPDATE sample_jar SET loose = 1.50000")
    assert since(mark) == []
    run("UPDATE sample_jar SET loose = 1.50001")
    assert changes(mark) == {"loose": ["1.50000", "1.50001"]}


def test_an_excluded_column_is_never_seen(jar: Jar) -> None:
    mark = newest()
    Jar.objects.update(secret="b")
    assert since(mark) == []
    Jar.objects.update(secret="c", mass=2)
    assert changes(mark) == {"mass": ["1.500", "2.000"]}
    assert not Entry.objects.filter(changes__has_key="secret").exists()


@pytest.mark.parametrize(
    ("column", "value", "written"),
    [
        ("mass", Decimal("12345.678"), "12345.678"),
        ("ratio", 0.1, "0.1"),
        ("ratio", float("nan"), "NaN"),
        ("big", 2**53 + 1, "9007199254740993"),
        ("full", True, True),
        ("details", {"a": None, "b": [1, {"c": "d"}]}, {"a": None, "b": [1, {"c": "d"}]}),
        ("opened_at", datetime(2026, 8, 1, 12, 30, tzinfo=UTC), "2026-08-01T12:30:00+00:00"),
        ("blob", b"\x00\xff", "00ff"),
        ("name", 'quote " and \\ and \n é ☕', 'quote " and \\ and \n é ☕'),
    ],
)
def test_every_kind_of_value(
    jar: Jar, shelf: Shelf, column: str, value: object, written: object
) -> None:
    mark = newest()
    other = Jar.objects.create(shelf=shelf, **{"name": "other", column: value})
    assert changes(mark)[column] == [None, written]
    mark = newest()
    other.delete()
    assert changes(mark)[column] == [written, None]
    mark = newest()
    Jar.objects.filter(pk=jar.pk).update(**{column: value})
    assert changes(mark)[column][1] == written


def test_times_are_utc_whatever_zone_the_session_has(jar: Jar) -> None:
    mark = newest()
    run("SET LOCAL timezone = 'America/Denver'")
    run("UPDATE sample_jar SET opened_at = '2026-01-01 00:00'")
    assert changes(mark) == {"opened_at": [None, "2026-01-01T07:00:00+00:00"]}


def test_changes_have_canonical_bytes(jar: Jar) -> None:
    """Sealing needs RFC 8785 of every entry: no number that JSON can't hold exactly."""
    Jar.objects.update(big=-(2**63), ratio=1e300, mass=Decimal("0.001"))
    for entry in since(0):
        assert rfc8785.dumps(entry.changes)
