"""Entries made ready for a page: words, links, and the clock of the site they belong to."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.urls import NoReverseMatch, reverse
from django.utils.dateparse import parse_datetime

from audit.capture.context import channel_words
from audit.capture.models import Entry, Operation
from audit.reading.labels import Label, column_order, label_of
from audit.reading.repeats import Attempts, answer, attempts_of
from audit.registry import SiteShown, kind_of, registry, subject_word
from audit.vocabulary import words

UNBROKEN = re.compile(r"\S{41,}")  # such as a public key: no line could be broken in it
FINGERPRINT = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class Change:
    """One field: its label, its value before and after, its unit; empty is None.

    Values are text, numbers, or for a moment in time a datetime.
    """

    label: str
    old: object
    new: object
    unit: str = ""

    @property
    def is_time(self) -> bool:
        """Whether the values are moments, to be shown on the site's clock."""
        return isinstance(self.old, datetime) or isinstance(self.new, datetime)


def changes_of(entry: Entry, *, by_name: bool = False) -> list[Change]:
    """Every field the entry records, in the model's order; structured values by their parts.

    `by_name` looks up what foreign keys lead to (a query each); else they show as numbers.
    """
    order = column_order(entry.table_name)
    changes: list[Change] = []
    for column in sorted(entry.changes, key=lambda name: (order.get(name, len(order)), name)):
        old, new = entry.changes[column]
        label = label_of(entry.table_name, column)
        if isinstance(old, dict) or isinstance(new, dict):
            changes.extend(_parts(label, old or {}, new or {}))
        else:
            measured = not label.target and (_is_number(old) or _is_number(new))
            unit = label.unit or (entry.unit if measured else "")
            before, after = (_words(label, value, by_name=by_name) for value in (old, new))
            changes.append(Change(label.name, before, after, unit))
    return changes


def _parts(label: Label, old: object, new: object) -> Iterator[Change]:
    """Each key in which two structured values differ. {"value", "unit"} is a quantity."""
    before, after = _keyed(old), _keyed(new)
    for key in before | after:
        a, b = before.get(key), after.get(key)
        if a != b:
            name = f"{label.name}: {key.replace('_', ' ')}"
            yield Change(name, _amount(a), _amount(b), _unit(b) or _unit(a))


def _keyed(value: object) -> dict[str, object]:
    return value if isinstance(value, dict) else {"": value}


def _amount(value: object) -> object:
    if isinstance(value, Mapping) and "value" in value:
        return value["value"]
    return _plain(value)


def _unit(value: object) -> str:
    return str(value.get("unit") or "") if isinstance(value, Mapping) else ""


def _words(label: Label, value: object, *, by_name: bool) -> object:
    if value is None:
        return None
    if label.is_time and isinstance(value, str):
        return parse_datetime(value) or value
    if label.target:
        return label.named(value) if by_name else f"#{value}"
    if not by_name and isinstance(value, str) and FINGERPRINT.fullmatch(value):
        return f"{value[:12]}…"  # a list has no room for it; the entry's own page shows it whole
    if not by_name and isinstance(value, str):
        value = fitted(value)
    return label.values.get(str(value), _plain(value))


def fitted(text: str) -> str:
    """For a list: words that are too long for its columns by their beginnings."""
    return UNBROKEN.sub(lambda word: f"{word[0][:24]}…", text)


def _plain(value: object) -> object:
    """Truth as a word, lists and structures as one line of text, the rest as it is."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return _joined(f"{key} {_plain(part)}" for key, part in value.items())
    if isinstance(value, list):
        return _joined(str(_plain(part)) for part in value)
    return value


def _joined(parts: Iterable[str]) -> str:
    return ", ".join(parts)


def _is_number(value: object) -> bool:
    """Whether a unit belongs behind it: decimals are recorded as text."""
    if isinstance(value, bool) or not isinstance(value, str | int):
        return False
    digits = str(value).removeprefix("-").replace(".", "", 1)
    return digits.isascii() and digits.isdigit()


FIRST_CHANGES = 3  # in a list; the entry's own page shows all


@dataclass(frozen=True, slots=True)
class Row:
    """One entry as a line of a list, or the head of its own page."""

    entry: Entry
    action: str
    operation: str
    kind: str
    channel: str
    site: SiteShown | None
    parameter_label: str
    changes: list[Change]
    attempts: Attempts

    @property
    def url(self) -> str:
        """The entry's own page."""
        return reverse("audit:entry", args=[self.entry.pk])

    @property
    def subject_url(self) -> str:
        """The page of what it is about, or nothing."""
        return subject_url(self.entry.subject_type, self.entry.subject_id)

    @property
    def timeline_url(self) -> str:
        """All that happened to what it is about."""
        entry = self.entry
        if not entry.subject_type or entry.subject_id is None:
            return ""
        return reverse("audit:timeline", args=[entry.subject_type, entry.subject_id])

    @property
    def is_refused(self) -> bool:
        """Whether nothing was changed, because it was refused."""
        return self.entry.operation == Operation.REFUSED

    @property
    def answer(self) -> str:
        """Why it was refused, and which address was asked for where nothing else says it."""
        asked_for = self.entry.changes.get("asked_for")
        return f"{answer(self.entry)} ({asked_for[1]})" if asked_for else answer(self.entry)

    @property
    def again(self) -> str:
        """How often the same was refused, where this line stands for several tries."""
        tries = self.attempts.tries
        return f"At least {tries} tries" if tries > 1 else ""

    @property
    def first_at(self) -> datetime:
        """When the first entry that this line stands for was written."""
        return self.attempts.entries[-1].at

    @property
    def client(self) -> str:
        """Where a refused attempt came from."""
        return self.entry.client_addr or "" if self.is_refused else ""

    @property
    def is_change(self) -> bool:
        """Whether something that was there was changed."""
        return self.entry.operation == Operation.CHANGED

    @property
    def zone(self) -> str:
        """The clock to show: that of the site, UTC for what belongs to none."""
        return self.site.zone if self.site else "UTC"

    @property
    def subject(self) -> str:
        """What it is about, short enough for a column."""
        return fitted(self.entry.subject)

    @property
    def first_changes(self) -> list[Change]:
        """As many as a list has room for."""
        return self.changes[:FIRST_CHANGES]

    @property
    def more(self) -> int:
        """How many changes a list leaves out."""
        return len(self.changes) - len(self.first_changes)


def rows_of(entries: Sequence[Entry]) -> list[Row]:
    """Entries as rows: one query, for the sites they belong to."""
    known = _sites_of(entries)
    parameters = dict(registry.parameters())
    return [_row(each, known, parameters, changes_of(each.newest)) for each in attempts_of(entries)]


def whole_row(entry: Entry) -> Row:
    """One entry with the names of what its values lead to."""
    changes = changes_of(entry, by_name=True)
    return _row(Attempts([entry]), _sites_of([entry]), dict(registry.parameters()), changes)


def _sites_of(entries: Iterable[Entry]) -> Mapping[int, SiteShown]:
    ids = {entry.site_id for entry in entries if entry.site_id is not None}
    return registry.sites(ids) if ids else {}


def _row(
    attempts: Attempts,
    sites: Mapping[int, SiteShown],
    parameters: Mapping[str, str],
    changes: list[Change],
) -> Row:
    entry = attempts.newest
    return Row(
        entry=entry,
        action=words(entry.action),
        operation=Operation(entry.operation).label,
        kind=subject_word(entry.subject_type),
        channel=channel_words(entry.channel),
        site=sites.get(entry.site_id) if entry.site_id else None,
        parameter_label=parameters.get(entry.parameter or "", entry.parameter or ""),
        changes=changes,
        attempts=attempts,
    )


def subject_url(type_: str, pk: int | None) -> str:
    """The subject's own page, or nothing if it has none."""
    kind = kind_of(type_)
    if not kind or not kind.url_name or pk is None:
        return ""
    try:
        return reverse(kind.url_name, args=[pk])
    except NoReverseMatch:
        return ""
