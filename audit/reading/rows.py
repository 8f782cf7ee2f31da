"""Entries made ready for a page: words, links, approvals, all on one clock."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.conf import settings
from django.urls import reverse

from audit.capture.context import channel_words
from audit.capture.devices import device_of
from audit.capture.models import Entry, Operation
from audit.reading.approvals import Approval, approvals_of
from audit.reading.changes import Change, Wording, changes_of, fitted
from audit.reading.named import names_in, page_of_thing
from audit.reading.repeats import Attempts, answer, attempts_of
from audit.registry import Quantity, SiteShown, registry, subject_word
from audit.sealing.late import marked_among
from audit.vocabulary import words

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
    approval: Approval | None  # None of what was refused
    zone: str  # the clock to show
    device: str = ""  # what the device it was made at is called today
    late: bool = False  # sealed late, as the checkpoint says: one of those the line stands for

    @property
    def url(self) -> str:
        """The entry's own page."""
        return reverse("audit:entry", args=[self.entry.pk])

    @property
    def subject_url(self) -> str:
        """The page of what it is about, or nothing."""
        return page_of_thing(self.entry.subject_type, self.entry.subject_id)

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


def rows_of(
    entries: Sequence[Entry], *, one_site: bool = False, parameter: str | None = None
) -> list[Row]:
    """Entries as rows, all on one clock: the house's, or that of the one site they are about.

    What they say of a `parameter` comes first. A query for the sites, one for each kind of thing
    they lead to, those of their approvals, and one for what was sealed late.
    """
    wording = Wording(names_in(entries), dict(registry.parameters()))
    rows = _marked(_rows(attempts_of(entries), wording, one_site=one_site))
    return _about(parameter, rows, wording) if parameter else rows


def _marked(rows: list[Row]) -> list[Row]:
    late = marked_among([entry.pk for row in rows for entry in row.attempts.entries])
    if not late:
        return rows
    return [
        replace(row, late=any(entry.pk in late for entry in row.attempts.entries)) for row in rows
    ]


def _about(parameter: str, rows: Sequence[Row], wording: Wording) -> list[Row]:
    """The same, each beginning with what it says of the parameter."""
    held = _held(parameter, [row.entry for row in rows])
    label = wording.parameters.get(parameter, parameter)

    def changes(row: Row) -> list[Change]:
        said = held.get(row.entry.pk)
        first = [Change(label, None, said.value, said.unit, parameter)] if said else []
        return first + sorted(row.changes, key=lambda change: change.code != parameter)

    return [replace(row, changes=changes(row)) for row in rows]


def _held(parameter: str, entries: Sequence[Entry]) -> dict[int, Quantity]:
    """What the rows that entries are about hold of it, where the entries don't say so."""
    found: dict[int, Quantity] = {}
    for table, carrier in registry.carriers.items():
        those = [entry for entry in entries if entry.table_name == table and entry.row_id]
        if carrier.held and those:
            held = carrier.held({entry.row_id or 0 for entry in those}, parameter)
            found |= {each.pk: held[each.row_id or 0] for each in those if each.row_id in held}
    return found


def whole_row(entry: Entry) -> Row:
    """One entry with every value as long as it is, on the clock of its site."""
    wording = Wording(names_in([entry]), dict(registry.parameters()), whole=True)
    [row] = _rows([Attempts([entry])], wording, one_site=True)
    return row


def clock_of(rows: Sequence[Row]) -> str:
    """The zone that rows are shown in, for the head of their column."""
    return rows[0].zone if rows else str(settings.HOUSE_ZONE)


def _rows(attempts: Sequence[Attempts], wording: Wording, *, one_site: bool) -> list[Row]:
    newest = [each.newest for each in attempts]
    sites, approvals, devices = _sites(newest), approvals_of(newest), _devices(newest)
    places = [sites.get(entry.site_id or 0) for entry in newest]
    zones = {site.zone if site else "" for site in places}
    [zone] = zones if one_site and len(zones) == 1 else [""]
    return [
        Row(
            entry=entry,
            action=words(entry.action),
            operation=Operation(entry.operation).label,
            kind=subject_word(entry.subject_type),
            channel=channel_words(entry.channel),
            site=site,
            parameter_label=wording.parameters.get(entry.parameter or "", entry.parameter or ""),
            changes=changes_of(entry, wording),
            attempts=each,
            approval=approvals.get(entry.pk),
            zone=zone or settings.HOUSE_ZONE,
            device=devices.get(entry.pk, ""),
        )
        for each, entry, site in zip(attempts, newest, places, strict=True)
    ]


def _devices(entries: Iterable[Entry]) -> Mapping[int, str]:
    """What the device of each entry is called, where it has one."""
    at = {entry.pk: device_of(entry.request_id) for entry in entries}
    numbers = {number for number in at.values() if number is not None}
    named = registry.devices(numbers) if numbers else {}
    return {pk: named.get(n, f"device {n}") for pk, n in at.items() if n is not None}


def _sites(entries: Iterable[Entry]) -> Mapping[int, SiteShown]:
    ids = {entry.site_id for entry in entries if entry.site_id is not None}
    return registry.sites(ids) if ids else {}
