"""A parameter over time: each number that was written, for a chart of steps."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, InvalidOperation

from audit.capture.models import Entry, Operation
from audit.reading.labels import label_of
from audit.reading.queries import HistoryFilter, page_of
from audit.registry import registry

MOST = 500  # the newest changes that are drawn
PANELS = 4  # columns that get a panel of their own (target, tolerances)


@dataclass(frozen=True, slots=True)
class Series:
    """The values one column was given, oldest first, each holding until the next."""

    name: str
    unit: str
    points: tuple[tuple[datetime, Decimal], ...]


@dataclass(frozen=True, slots=True)
class History:
    """What there is to draw, and the sentence that says it; whoever shows the page draws it."""

    series: tuple[Series, ...]
    text: str


def values_written(wanted: HistoryFilter, scope: frozenset[int] | None) -> History | None:
    """The numbers in what the filter finds, or None where no number was ever written."""
    entries = list(reversed(page_of(wanted, scope, size=MOST).entries))
    unit = registry.unit(next((entry.unit for entry in reversed(entries) if entry.unit), ""))
    series = _series(entries, unit)
    return History(series, " ".join(map(_sentence, series))) if series else None


def _series(entries: list[Entry], unit: str) -> tuple[Series, ...]:
    """By column, in the order in which they were first written."""
    found: dict[str, list[tuple[datetime, Decimal]]] = {}
    for entry in entries:
        if entry.operation == Operation.REFUSED:
            continue
        for column, (_, new) in entry.changes.items():
            value = _number(new)
            if value is not None:
                name = label_of(entry.table_name, column).name
                found.setdefault(name, []).append((entry.at, value))
    drawn = list(found.items())[:PANELS]
    return tuple(Series(name, unit, tuple(points)) for name, points in drawn)


def _number(value: object) -> Decimal | None:
    """Decimals are recorded as text; whole numbers and truth values are not measurements."""
    if not isinstance(value, str):
        return None
    try:
        number = Decimal(value)
    except InvalidOperation:
        return None
    return number if number.is_finite() else None


def _sentence(series: Series) -> str:
    values = [value for _, value in series.points]
    low, high = min(values), max(values)
    (first, _), (last, newest) = series.points[0], series.points[-1]
    spread = f", between {low} and {high}" if low != high else ""
    return (
        f"{series.name}: {len(values)} values from {first:%Y-%m-%d} to {last:%Y-%m-%d}{spread}, "
        f"last {newest} {series.unit}".rstrip()
        + "."
    )
