"""Which archive holds an entry that is no longer here, as the records say."""

from bisect import bisect_right
from collections.abc import Iterable

from audit.ledger.bundle.archived import ACTION
from audit.retention.models import Archive
from audit.vocabulary import register

HISTORY_ARCHIVED = register(ACTION, "Archived a month of the history")


def archive_of(entry_id: int) -> Archive | None:
    """The archive that holds an entry, by its id."""
    return Archive.objects.filter(first_id__lte=entry_id, last_id__gte=entry_id).first()


def archives_of(entry_ids: Iterable[int]) -> dict[int, int]:
    """The numbers of the archives that hold these entries; those in none are left out."""
    ranges = list(Archive.objects.order_by("first_id").values_list("first_id", "last_id", "pk"))
    begins = [first for first, _, _ in ranges]
    found = {}
    for entry_id in entry_ids:
        at = bisect_right(begins, entry_id) - 1
        if at >= 0 and entry_id <= ranges[at][1]:
            found[entry_id] = ranges[at][2]
    return found
