"""All sites at a glance, for the page and the API alike."""

from collections.abc import Mapping, Sequence
from typing import Any

from stations.models import Site, Slot

COUNTS = ("differs", "to_load", "on_permit", "by_hand", "matches")


def board_rows(
    sites: Sequence[Site], counts: Mapping[int, Mapping[str, int]]
) -> list[dict[str, Any]]:
    """Each site with its counts (of ``Placement.objects.board()``) and how many slots it has."""
    slots = Slot.objects.count_by_site(site.pk for site in sites)
    nothing = dict.fromkeys(COUNTS, 0)
    return [
        {**(counts.get(site.pk) or nothing), "site": site, "slots": slots.get(site.pk, 0)}
        for site in sites
    ]
