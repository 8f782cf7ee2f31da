"""Which archive holds what is no longer here, as the records say, and how pages say so."""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from audit.errors import NotFound
from audit.ledger.bundle.archived import ACTION
from audit.retention.models import Archive
from audit.vocabulary import register

HISTORY_ARCHIVED = register(ACTION, "Archived a month of the history")
ABSENT = "There is no such entry, or none that you may read."


def archive_of(entry_id: int) -> Archive | None:
    """The archive that holds an entry, by its id."""
    return Archive.objects.filter(first_id__lte=entry_id, last_id__gte=entry_id).first()


def archives_of(entry_ids: Iterable[int]) -> dict[int, int]:
    """The numbers of the archives that hold these entries; those in none are left out."""
    ranges = list(Archive.objects.order_by("first_id").values_list("first_id", "last_id", "pk"))
    begins = [first for first, _, _ in ranges]
    numbers = {}
    for entry_id in entry_ids:
        at = bisect_right(begins, entry_id) - 1
        if at >= 0 and entry_id <= ranges[at][1]:
            numbers[entry_id] = ranges[at][2]
    return numbers


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
    archives = list(Archive.objects.order_by("-last_id"))
    return Archived(archives) if archives else None


def absent(entry_id: int) -> NotFound:
    """Why an entry can't be shown: where it is, if it is archived. Says nothing of its content."""
    archive = archive_of(entry_id)
    if archive is None:
        return NotFound(ABSENT)
    return NotFound(
        f"Entry {entry_id} is archived: it is in the file {archive.file}, with all of "
        f"{archive.months}. Whoever keeps the archives can look it up there."
    )
