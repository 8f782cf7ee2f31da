"""The only writer of what slots should hold.

Everything is set-based: a chain of bars is tens of thousands of slots, and each call below is a
handful of statements whatever their number. Callers hold the transaction and the history context
(``audit.capture.context.recorded``); they decide, this module writes, the database's guards check.
"""

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import connection
from django.dispatch import Signal

from people.signatures.models import Signature
from stations.slots.models import Placement, PlacementManner


@dataclass(frozen=True)
class StationSettings:
    """What the slots of one station are to be set to.

    ``values`` maps codes to ``{"value": decimal string or word, "unit": UCUM code}``; ``cup``
    says what a check shot is held against (``ControlSettings``); ``variant`` is the machine type
    (id) whose variant of the content they are, if not the whole.
    """

    station_id: int
    site_id: int
    title: str
    content_digest: str
    values: Mapping[str, Mapping[str, str]]
    cup: Mapping[str, Mapping[str, str]] | None = None
    variant: int | None = None


@dataclass(frozen=True)
class Entitlement:
    """What entitles a placement: what it is under, in which manner, and the signature over it."""

    basis: str
    basis_id: int
    manner: PlacementManner
    signature: Signature


SCHEDULE = """
WITH made AS (
    INSERT INTO stations_controlsettings
        (station_id, title, content_digest, variant_id, "values", cup)
    SELECT * FROM unnest(%(stations)s::bigint[], %(titles)s::text[], %(digests)s::text[],
        %(variants)s::bigint[], %(values)s::jsonb[], %(cups)s::jsonb[])
    RETURNING id, station_id
)
INSERT INTO stations_placement
    (slot_id, site_id, settings_id, basis, basis_id, manner, signature_id, state, verdict, due_at)
SELECT slot.id, due.site_id, made.id, %(basis)s, %(basis_id)s, %(manner)s,
    %(signature)s, 'scheduled', 'unread', due.due_at
FROM made
JOIN unnest(%(stations)s::bigint[], %(sites)s::bigint[]) AS at (station_id, site_id)
    USING (station_id)
JOIN unnest(%(due_sites)s::bigint[], %(due_at)s::timestamptz[]) AS due (site_id, due_at)
    ON due.site_id = at.site_id
JOIN unnest(%(slots)s::bigint[]) AS wanted (id) ON TRUE
JOIN stations_slot slot ON slot.id = wanted.id AND slot.station_id = made.station_id
"""


# Sent in the transaction that put an end to what had stepped in at some slots, with ``basis`` and
# ``ids``, what those were under: for whoever says when such a thing is over.
stepped_out = Signal()


def lock_slots(slots: Sequence[int]) -> None:
    """Make everybody else who decides about these slots wait, in one order for all."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM (SELECT 1 FROM stations_slot WHERE id = ANY(%s)"
            " ORDER BY id FOR NO KEY UPDATE) AS locked",
            [list(slots)],
        )


def schedule(
    *,
    entitlement: Entitlement,
    settings: Sequence[StationSettings],
    slots: Sequence[int],
    due: Mapping[int, datetime],
) -> int:
    """Write one scheduled placement for each slot; returns how many.

    ``due`` gives each site's instant. Every slot must belong to a station in ``settings``.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            SCHEDULE,
            {
                "stations": [each.station_id for each in settings],
                "sites": [each.site_id for each in settings],
                "titles": [each.title for each in settings],
                "digests": [each.content_digest for each in settings],
                "variants": [each.variant for each in settings],
                "values": [json.dumps(each.values, sort_keys=True) for each in settings],
                "cups": [json.dumps(each.cup) if each.cup else None for each in settings],
                "due_sites": list(due),
                "due_at": list(due.values()),
                "slots": list(slots),
                "basis": entitlement.basis,
                "basis_id": entitlement.basis_id,
                "manner": entitlement.manner,
                "signature": entitlement.signature.pk,
            },
        )
        return int(cursor.rowcount)


PICK = """
SELECT id, slot_id, site_id FROM stations_placement
WHERE basis = %s AND basis_id = %s AND state = 'scheduled' AND due_at <= statement_timestamp()
    AND (%s::bigint[] IS NULL OR site_id = ANY (%s))
ORDER BY slot_id LIMIT %s FOR UPDATE SKIP LOCKED
"""

# What ends and what takes over change in one statement, since the guards let no locked slot stand
# open between two. Whatever is counted or joined of the first part makes it happen first: a slot
# never has two in force. greatest(): a placement may have started after this transaction began.
TAKE_OVER = """
WITH ended AS (
    UPDATE stations_placement AS old
    SET state = 'ended', ended_at = greatest(old.started_at, clock_timestamp()),
        superseded_by_id = new.id
    FROM unnest(%(placements)s::bigint[], %(slots)s::bigint[]) AS new (id, slot_id)
    WHERE old.slot_id = new.slot_id AND old.state IN ('in_force', 'suspended')
    RETURNING old.id
)
UPDATE stations_placement SET state = 'in_force', started_at = clock_timestamp()
WHERE id = ANY(%(placements)s) AND (SELECT count(*) FROM ended) >= 0
"""


STEPPED_OUT = """
SELECT basis, array_agg(DISTINCT basis_id) FROM stations_placement
WHERE superseded_by_id = ANY(%s) AND manner = 'steps_in' AND state = 'ended' GROUP BY basis
"""


def bring_into_force(
    *, basis: str, basis_id: int, at_most: int, sites: Sequence[int] | None = None
) -> Counter[int]:
    """Put up to ``at_most`` due placements into force; returns how many at each site (by id).

    ``sites`` are the only ones where it happens, if given. What they supersede ends in the same
    transaction. Safe to run in several workers at once: each takes rows the others have not.
    """
    with connection.cursor() as cursor:
        only = None if sites is None else list(sites)
        cursor.execute(PICK, [basis, basis_id, only, only, at_most])
        picked = cursor.fetchall()
        if picked:
            placements, slots = [row[0] for row in picked], [row[1] for row in picked]
            lock_slots(slots)
            cursor.execute(TAKE_OVER, {"placements": placements, "slots": slots})
            cursor.execute(STEPPED_OUT, [placements])
            out = cursor.fetchall()
    for basis_out, ids in out if picked else ():
        stepped_out.send(sender=Placement, basis=basis_out, ids=ids)
    return Counter(row[2] for row in picked)


def cancel_scheduled(*, basis: str, basis_id: int, site_id: int | None = None) -> int:
    """Cancel what has not come into force yet, at one site if given; returns how many."""
    waiting = Placement.objects.filter(
        basis=basis, basis_id=basis_id, state=Placement.State.SCHEDULED
    )
    here = waiting if site_id is None else waiting.filter(site=site_id)
    return here.update(state=Placement.State.CANCELLED)


# What waits, when its station is measured anew: it is cancelled, and the same under the same basis
# for the same moment takes its place, in the settings and under the signature of now.


def lock_scheduled(station_id: int) -> None:
    """Make whoever brings something into force at a station wait, or wait for them.

    Before the slots (`lock_slots`), since that is how it comes into force.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT p.id FROM stations_placement p JOIN stations_slot s ON s.id = p.slot_id"
            " WHERE s.station_id = %s AND p.state = 'scheduled'"
            " ORDER BY p.slot_id FOR UPDATE OF p",
            [station_id],
        )


def give_way(placements: Sequence[int]) -> int:
    """Cancel scheduled placements (ids) for what is translated anew in this transaction."""
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE stations_placement SET state = 'cancelled', ended_at = clock_timestamp()"
            " WHERE id = ANY(%s) AND state = 'scheduled'",
            [list(placements)],
        )
        return int(cursor.rowcount)


def name_successors(placements: Sequence[int]) -> int:
    """Let what gave way name what was scheduled in its place; returns how many."""
    with connection.cursor() as cursor:
        cursor.execute(
            """UPDATE stations_placement AS old SET superseded_by_id = new.id
            FROM stations_placement AS new
            WHERE old.id = ANY(%s) AND new.slot_id = old.slot_id AND new.basis = old.basis
                AND new.basis_id = old.basis_id AND new.state = 'scheduled'""",
            [list(placements)],
        )
        return int(cursor.rowcount)


STEP_IN = """
WITH aside AS (
    UPDATE stations_placement AS old SET state = 'suspended', superseded_by_id = new.id
    FROM stations_placement AS new
    WHERE new.basis = %(basis)s AND new.basis_id = %(basis_id)s AND new.state = 'scheduled'
        AND old.slot_id = new.slot_id AND old.state = 'in_force'
    RETURNING new.id
)
UPDATE stations_placement AS mine SET state = 'in_force', started_at = clock_timestamp()
FROM aside WHERE mine.id = aside.id
"""

# Whatever was read back before that says nothing about what the slot holds now.
STEP_BACK = """
WITH ended AS (
    UPDATE stations_placement AS old
    SET state = 'ended', ended_at = greatest(old.started_at, clock_timestamp()),
        superseded_by_id = back.id
    FROM stations_placement AS back
    WHERE old.basis = %(basis)s AND old.basis_id = %(basis_id)s AND old.state = 'in_force'
        AND back.slot_id = old.slot_id AND back.state = 'suspended'
    RETURNING back.id
)
UPDATE stations_placement AS back
SET state = 'in_force', superseded_by_id = NULL, verdict = 'unread'
FROM ended WHERE back.id = ended.id
"""


def step_in(*, basis: str, basis_id: int) -> int:
    """Suspend what the slots hold and put these placements into force; returns how many."""
    return _changed(STEP_IN, basis, basis_id)


def step_back(*, basis: str, basis_id: int) -> int:
    """Give the slots back what these placements had suspended; returns how many.

    Slots that something else has taken over meanwhile are left as they are.
    """
    return _changed(STEP_BACK, basis, basis_id)


# What renews is signed now, so what was suspended is replaced now; nobody is there to sign when
# what stepped in ends by itself.
RENEW_BENEATH = """
WITH gone AS (
    UPDATE stations_placement AS old
    SET state = 'ended', ended_at = greatest(old.started_at, clock_timestamp()),
        superseded_by_id = new.id
    FROM stations_placement AS new
    WHERE new.basis = %(basis)s AND new.basis_id = %(basis_id)s AND new.state = 'scheduled'
        AND old.slot_id = new.slot_id AND old.state = 'suspended'
    RETURNING new.id, new.slot_id
)
UPDATE stations_placement AS new
SET state = 'suspended', started_at = clock_timestamp(), superseded_by_id = above.id
FROM gone JOIN stations_placement AS above
    ON above.slot_id = gone.slot_id AND above.manner = 'steps_in' AND above.state = 'in_force'
WHERE new.id = gone.id
"""


def renew_beneath(*, basis: str, basis_id: int) -> int:
    """Put these placements in the place of what is suspended; returns how many slots.

    There they wait, suspended as well, for what stepped in to end.
    """
    return _changed(RENEW_BENEATH, basis, basis_id)


def _changed(statement: str, basis: str, basis_id: int) -> int:
    """Run it for the placements under this; how many its second part changed."""
    with connection.cursor() as cursor:
        cursor.execute(statement, {"basis": basis, "basis_id": basis_id})
        return int(cursor.rowcount)
