"""How many slots of each site wait for what, for the page and the API alike."""

from collections.abc import Mapping, Sequence
from typing import Any

from people.persons.models import User
from stations.charts.models import Drift
from stations.equipment.models import Site, Slot
from stations.slots.models import Placement

COUNTS = ("differs", "drifts", "to_load", "on_permit", "by_hand", "matches")
NOTHING = dict.fromkeys(COUNTS, 0)


def board_counts(user: User) -> dict[int, dict[str, int]]:
    """By site, of those this person covers: slots by what they wait for, and stations that drift.

    Two queries. A site where neither is to be said is left out.
    """
    found = {
        row.pop("site"): {**NOTHING, **row} for row in Placement.objects.covered_by(user).board()
    }
    drifting = Drift.objects.covered_by(user).current().stations_by_site()
    for site, stations in drifting.items():
        found.setdefault(site, dict(NOTHING))["drifts"] = stations
    return found


def board_rows(
    sites: Sequence[Site], counts: Mapping[int, Mapping[str, int]]
) -> list[dict[str, Any]]:
    """Each site with its counts (of ``board_counts``) and how many slots it has."""
    slots = Slot.objects.count_by_site(site.pk for site in sites)
    return [
        {**counts.get(site.pk, NOTHING), "site": site, "slots": slots.get(site.pk, 0)}
        for site in sites
    ]
