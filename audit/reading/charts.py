"""A parameter over time: each number that was written, for a chart of steps."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal, InvalidOperation

from audit.capture.models import Entry, Operation
from audit.reading.access import Reach
from audit.reading.approvals import Approval, approvals_of
from audit.reading.labels import in_order, label_of
from audit.reading.queries import HistoryFilter
from audit.reading.reaching import page_within
from audit.registry import registry

MOST = 500  # the newest changes that are drawn
NO_MEASURES = {"number"}  # columns whose numbers only count
PANELS = 4  # columns that get a panel of their own (target, tolerances)


Points = tuple[tuple[datetime, Decimal], ...]


@dataclass(frozen=True, slots=True)
class Series:
    """The values one column was given, oldest first, each holding until the next.

    Of what is approved before it counts, `points` are the values from their approval on, and
    `drafts` all that was ever written, which held nowhere.
    """

    name: str
    unit: str
    points: Points
    drafts: Points = ()
    word: str = ""  # what the points are, where there are others


@dataclass(frozen=True, slots=True)
class History:
    """What there is to draw, and the sentence that says it; whoever shows the page draws it."""

    series: tuple[Series, ...]
    text: str


def values_written(wanted: HistoryFilter, reaches: Sequence[Reach]) -> History | None:
    """The numbers in what the filter finds, or None where no number was ever written."""
    if wanted.subject_id is None:
        return None  # of many things, each set for itself: one line through them would say nothing
    entries = list(reversed(page_within(wanted, reaches, size=MOST).entries))
    entries = [entry for entry in entries if entry.operation != Operation.REFUSED]
    unit = registry.unit(next((entry.unit for entry in reversed(entries) if entry.unit), ""))
    series = (*_in_force(entries, wanted.parameter or ""), *_series(entries, unit))[:PANELS]
    return History(series, " ".join(map(_sentence, series))) if series else None


def _in_force(entries: list[Entry], parameter: str) -> Iterator[Series]:
    """What a thing held of a parameter, from each moment at which that came into force."""
    for table, carrier in registry.carriers.items():
        begun = [e for e in entries if e.table_name == table and carrier.begins(e.changes)]
        if not begun or not carrier.held:
            continue
        held = carrier.held({entry.row_id or 0 for entry in begun}, parameter)
        said = [(entry.at, held[entry.row_id or 0]) for entry in begun if entry.row_id in held]
        numbers = [(at, _number(each.value)) for at, each in said]
        points = tuple((at, value) for at, value in numbers if value is not None)
        if points:
            label = dict(registry.parameters()).get(parameter, parameter)
            yield Series(f"{label}, in force", registry.unit(said[-1][1].unit), points)


@dataclass
class Written:
    """What one column was given: by drafts, and by what counts, for each row the newest."""

    drafts: list[tuple[datetime, Decimal]] = field(default_factory=list)
    counting: dict[tuple[str, int], tuple[datetime, Decimal]] = field(default_factory=dict)

    def note(self, entry: Entry, value: Decimal, approval: Approval | None) -> None:
        """One more value; what needs an approval counts from that on, if ever."""
        if entry.table_name not in registry.approvals:
            self.counting["", entry.pk] = (entry.at, value)
            return
        self.drafts.append((entry.at, value))
        if approval and approval.signature:
            row = (entry.table_name, entry.row_id or 0)
            self.counting[row] = (approval.signature.at, value)

    def series(self, name: str, unit: str) -> Series:
        """The same, ready to be drawn."""
        points = tuple(sorted(self.counting.values()))
        word = "approved" if self.drafts else ""
        return Series(name, unit, points, tuple(self.drafts), word)


def _series(entries: list[Entry], unit: str) -> Iterator[Series]:
    """By column, in the order in which they were first written."""
    found: dict[str, Written] = {}
    approvals = approvals_of(entries)
    for entry in entries:
        for column in in_order(entry.table_name, entry.changes):
            value = _number(entry.changes[column][1])
            if value is not None and column not in NO_MEASURES:
                name = label_of(entry.table_name, column).name
                found.setdefault(name, Written()).note(entry, value, approvals.get(entry.pk))
    return (written.series(name, unit) for name, written in found.items())


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
    drafts = f"{len(series.drafts)} by drafts" if series.drafts else ""
    if not series.points:
        return f"{series.name}: {drafts}, none approved."
    values = [value for _, value in series.points]
    low, high = min(values), max(values)
    (first, _), (last, newest) = series.points[0], series.points[-1]
    spread = f", between {low} and {high}" if low != high else ""
    word = f" {series.word}" if series.word else ""
    return (
        f"{series.name}: {len(values)} values{word} from {first:%Y-%m-%d} to {last:%Y-%m-%d}"
        f"{spread}, last {newest} {series.unit}".rstrip()
        + (f"; {drafts}." if drafts else ".")
    )
