"""What the pages say of archives: from when on entries are kept here, and where others are."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from audit.errors import NotFound
from audit.reading.queries import visible
from audit.retention.models import Archive
from audit.retention.records import archive_of

ABSENT = "There is no such entry, or none that you may read."


@dataclass(frozen=True, slots=True)
class Archived:
    """All archives, newest first; there is at least one."""

    archives: Sequence[Archive]

    @property
    def until(self) -> datetime:
        """When the last entry was written that is archived: all after it are here."""
        return self.archives[0].ended_at

    @property
    def entries(self) -> int:
        """How many are archived."""
        return sum(one.entries for one in self.archives)


def archived() -> Archived | None:
    """What is archived, None if nothing is."""
    found = list(Archive.objects.order_by("-last_id"))
    return Archived(found) if found else None


def absent(entry_id: int) -> NotFound:
    """Why an entry can't be shown: where it is, if it is archived. Says nothing of its content."""
    archive = archive_of(entry_id)
    if archive is None:
        return NotFound(ABSENT)
    return NotFound(
        f"Entry {entry_id} is archived: it is in the file {archive.file}, with all of "
        f"{archive.months}. Whoever keeps the archives can look it up there."
    )


def provable(entry_id: int, scope: frozenset[int] | None) -> bool:
    """Whether this person may have the proof of an entry. Of an archived one it is not known here
    whose site it is about, so only who may read all may have it."""
    if visible(scope).filter(pk=entry_id).exists():
        return True
    return scope is None and archive_of(entry_id) is not None
