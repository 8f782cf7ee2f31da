"""Entries made ready for a page: words, links, and the clock of the site they belong to."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.urls import NoReverseMatch, reverse

from audit.actions import words
from audit.context import Road
from audit.models import Entry, Operation
from audit.registry import SiteShown, registry, subject_word
from audit.shown import Change, changes_of, fitted

FIRST_CHANGES = 3  # in a list; the entry's own page shows all

ROADS: dict[str, str] = {
    Road.PAGE: "page",
    Road.API: "API",
    Road.GATEWAY: "gateway",
    Road.TASK: "task",
    Road.CONSOLE: "console",
    Road.DATABASE: "database",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One entry as a line of a list, or the head of its own page."""

    entry: Entry
    action: str
    operation: str
    kind: str
    road: str
    site: SiteShown | None
    subject_url: str
    timeline_url: str
    parameter_label: str
    changes: list[Change]

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


def rows_of(entries: Iterable[Entry], sites: Mapping[int, SiteShown] | None = None) -> list[Row]:
    """Entries as rows; `sites` spares reading them again."""
    known = registry.sites() if sites is None else sites
    parameters = dict(registry.parameters())
    return [_row(entry, known, parameters, changes_of(entry)) for entry in entries]


def whole_row(entry: Entry) -> Row:
    """One entry with the names of what its values lead to."""
    changes = changes_of(entry, by_name=True)
    return _row(entry, registry.sites(), dict(registry.parameters()), changes)


def _row(
    entry: Entry,
    sites: Mapping[int, SiteShown],
    parameters: Mapping[str, str],
    changes: list[Change],
) -> Row:
    return Row(
        entry=entry,
        action=words(entry.action),
        operation=Operation(entry.operation).label,
        kind=subject_word(entry.subject_type),
        road=ROADS.get(entry.road, entry.road),
        site=sites.get(entry.site_id) if entry.site_id else None,
        subject_url=subject_url(entry.subject_type, entry.subject_id),
        timeline_url=_timeline_url(entry),
        parameter_label=parameters.get(entry.parameter or "", entry.parameter or ""),
        changes=changes,
    )


def subject_url(type_: str, pk: int | None) -> str:
    """The subject's own page, or nothing if it has none."""
    kind = registry.subjects.get(type_)
    if not kind or not kind.url_name or pk is None:
        return ""
    try:
        return reverse(kind.url_name, args=[pk])
    except NoReverseMatch:
        return ""


def _timeline_url(entry: Entry) -> str:
    if not entry.subject_type or entry.subject_id is None:
        return ""
    return reverse("audit:timeline", args=[entry.subject_type, entry.subject_id])
