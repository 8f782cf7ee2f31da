"""What somebody finds of one thing's history, by everything that lets them read some of it."""

from collections.abc import Sequence

from audit.capture.models import Entry
from audit.reading.access import Reach
from audit.reading.queries import PAGE, HistoryFilter, HistoryPage, page_of, visible


def page_within(
    wanted: HistoryFilter,
    reaches: Sequence[Reach],
    *,
    before: int | None = None,
    after: int | None = None,
    size: int = PAGE,
) -> HistoryPage:
    """One page of what at least one of these leads to, each entry once; otherwise as page_of."""
    pages = [
        page_of(wanted, reach.sites, before=before, after=after, size=size + 1, tables=reach.tables)
        for reach in reaches
    ]
    found = {entry.id: entry for page in pages for entry in page.entries}
    walked = sorted(found.values(), key=lambda entry: entry.id, reverse=after is None)
    return HistoryPage.of(walked[: size + 1], size, before, after)


def found_within(pk: int, reaches: Sequence[Reach]) -> tuple[Entry, Reach] | None:
    """The entry of that number, and the first of these that leads to it."""
    for reach in reaches:
        entry = visible(reach.sites, reach.tables).filter(pk=pk).first()
        if entry is not None:
            return entry, reach
    return None
