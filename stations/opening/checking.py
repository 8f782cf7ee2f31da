"""How far the opening checks of sites are, worked out from the shots of each site's own day.

What counts for a slot: shots of this day, under what is in force there now, that were not left
out and were within tolerance, since the last one out of tolerance. What came into force, a bag
opened and burrs or a grinder changed at a grinder of the station ask again from that moment on; a
collar turned does not: whether the cup is still right shows with the next shot.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import connection

from stations.opening.models import OpeningPolicy

# One pass over what is in force at these sites; shots by the index of their placement and moment.
STATE = """
WITH asked AS (
    SELECT * FROM unnest(%s::bigint[], %s::timestamptz[], %s::int[], %s::text[])
        AS a (site_id, began, wanted, numbers)
), used AS MATERIALIZED (
    SELECT a.site_id, a.wanted, s.station_id, s.id AS slot_id, s.number, p.id AS placement_id,
        greatest(a.began, p.started_at,
            (SELECT max(e.ended_at) FROM stations_placement e
                WHERE e.slot_id = s.id AND e.state = 'ended'),
            (SELECT max(o.opened_at) FROM stations_lotopening o
                WHERE o.station_id = s.station_id AND o.closed_at IS NULL),
            (SELECT max(o.opened_at) FROM stations_grinderstation g
                JOIN stations_lotopening o
                    ON o.grinder_id = g.grinder_id AND o.closed_at IS NULL
                WHERE g.station_id = s.station_id),
            (SELECT max(v.at) FROM stations_grinderstation g
                JOIN stations_grinderevent v
                    ON v.grinder_id = g.grinder_id AND v.kind IN ('burrs', 'replaced')
                WHERE g.station_id = s.station_id)) AS since
    FROM asked a
    JOIN stations_placement p
        ON p.site_id = a.site_id AND p.state = 'in_force' AND p.manner <> 'by_hand'
    JOIN stations_controlsettings c ON c.id = p.settings_id
    JOIN stations_slot s ON s.id = p.slot_id
    WHERE (a.numbers = '' OR s.number::text = ANY (string_to_array(a.numbers, ',')))
        AND EXISTS (SELECT 1 FROM jsonb_each(coalesce(nullif(c.cup, 'null'), '{}')) t
            WHERE coalesce(t.value ->> 'below', t.value ->> 'above') IS NOT NULL)
), pulled AS (
    SELECT u.slot_id, k.id, k.verdict,
        max(k.id) FILTER (WHERE k.verdict = 'outside') OVER (PARTITION BY u.slot_id) AS bad
    FROM used u
    JOIN stations_checkshot k ON k.placement_id = u.placement_id AND k.at >= u.since
    WHERE NOT k.left_out
)
SELECT u.site_id, u.station_id, u.slot_id, u.number, u.wanted,
    count(k.id) FILTER (WHERE k.verdict = 'within' AND k.id > coalesce(k.bad, 0)),
    coalesce(bool_or(k.bad IS NOT NULL), false)
FROM used u LEFT JOIN pulled k ON k.slot_id = u.slot_id
GROUP BY u.site_id, u.station_id, u.slot_id, u.number, u.wanted
ORDER BY u.site_id, u.station_id, u.number
"""


@dataclass(frozen=True, slots=True)
class SlotCheck:
    """One slot: how many good shots it has of those wanted, and whether one was out today."""

    site_id: int
    station_id: int
    slot_id: int
    number: int
    wanted: int
    good: int
    was_out: bool

    @property
    def done(self) -> bool:
        """Whether it has all that is asked."""
        return self.good >= self.wanted

    @property
    def words(self) -> str:
        """How far it is: Slot 3: 1 of 2, was out of tolerance."""
        out = ", was out of tolerance" if self.was_out else ""
        return f"Slot {self.number}: {min(self.good, self.wanted)} of {self.wanted}{out}"


@dataclass
class StationCheck:
    """A station's slots in use; ``late`` once the door should have been open."""

    station_id: int
    site_id: int
    door: datetime
    late: bool
    slots: list[SlotCheck] = field(default_factory=list)

    @property
    def checked(self) -> int:
        """How many of its slots are done."""
        return sum(slot.done for slot in self.slots)

    @property
    def missing(self) -> list[SlotCheck]:
        """Those that are not, in order."""
        return [slot for slot in self.slots if not slot.done]

    @property
    def done(self) -> bool:
        """Whether nothing is missing."""
        return not self.missing

    @property
    def words(self) -> str:
        """2 of 3 checked."""
        return f"{self.checked} of {len(self.slots)} checked"

    @property
    def mark(self) -> str:
        """Its state as a mark (web.icons): what was out of tolerance first, then what is late."""
        if self.done:
            return "checked"
        if any(slot.was_out for slot in self.missing):
            return "outside"
        return "overdue" if self.late else "to_check"


def station_checks(sites: Iterable[int], at: datetime) -> list[StationCheck]:
    """Every station with slots to check at these sites, in two queries."""
    rows = OpeningPolicy.objects.filter(site__in=list(sites), shots__gt=0).select_related("site")
    policies = {policy.site_id: policy for policy in rows}
    found: dict[int, StationCheck] = {}
    for slot in _slots(list(policies.values()), at):
        if slot.station_id not in found:
            door = policies[slot.site_id].door(at)
            found[slot.station_id] = StationCheck(slot.station_id, slot.site_id, door, at >= door)
        found[slot.station_id].slots.append(slot)
    return list(found.values())


def _slots(policies: Sequence[OpeningPolicy], at: datetime) -> Iterator[SlotCheck]:
    if not policies:
        return
    asked: list[Any] = [  # one array for each column, which the stubs do not know
        [policy.site_id for policy in policies],
        [policy.day_began(at) for policy in policies],
        [policy.shots for policy in policies],
        [policy.slots for policy in policies],
    ]
    with connection.cursor() as cursor:
        cursor.execute(STATE, asked)
        for row in cursor.fetchall():
            yield SlotCheck(*row)
