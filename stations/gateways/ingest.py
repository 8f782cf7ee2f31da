"""Taking a batch of events: each once, whatever is repeated, re-ordered or missing."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db import connection
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Problem
from audit.vocabulary import register
from stations.gateways.batches import Event
from stations.gateways.caller import Caller, subject_of
from stations.gateways.gaps import through, with_came
from stations.gateways.inbox import EventState
from stations.gateways.models import Gateway, GatewayStatus
from stations.gateways.noting import note_heartbeats, note_loaded
from stations.gateways.pouring import pour
from stations.gateways.reading import read
from stations.gateways.restoring import follow_differences
from stations.gateways.schemas import HEARTBEAT, LOADED, READ_BACK, SHOT
from stations.gateways.signatures import KeyRevoked
from stations.gateways.told import Told

GATEWAY_REPORTED = register("gateway.reported", "Reported by a gateway")

CORRECTED_FROM = 2.0  # s; `created` is told in whole seconds, and a request takes its time
FLAGGED_FROM = 5.0  # s
GAPS_TOLD = 50


@dataclass(frozen=True, slots=True)
class Refusal:
    """One event that was not taken, and why."""

    event: Event
    problems: Sequence[Problem]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a batch, and where the gateway stands."""

    taken: int
    repeated: int
    refused: Sequence[Refusal]
    through: int
    last: int
    missing: Sequence[tuple[int, int]] = field(default_factory=list)


def take(*, by: Caller, events: Sequence[Event], offset: float) -> Outcome:
    """Take what is new of a batch; the rest came before.

    ``offset``: its clock minus ours when it signed [s]; moments are corrected by it. What can't be
    used is kept with its problems. Raises KeyRevoked where it was revoked meanwhile.
    """
    gateway = by.gateway
    about = subject_of(gateway)
    with recorded(by=by, action=GATEWAY_REPORTED, subject=about, site_id=gateway.site_id):
        status = GatewayStatus.objects.select_for_update().get(gateway=gateway)
        if not Gateway.objects.in_use().filter(pk=gateway.pk).exists():
            raise KeyRevoked("This gateway was revoked.")
        told = [Told(event, _corrected(event.time, offset)) for event in events]
        rows = _insert(gateway, first := _first_of_each(told))
        fresh = [each for each in first if each.sequence in rows]
        _follow(by, [each for each in fresh if not each.problems])
        _write_outcomes(fresh, rows)
        clashing = _clashing(gateway, _without(told, fresh))
        status.clock_offset = offset
        _count(status, _without(told, clashing))
    refused = [Refusal(each.event, each.problems) for each in fresh if each.problems]
    return Outcome(
        taken=len(fresh) - len(refused),
        repeated=len(told) - len(fresh) - len(clashing),
        refused=[*refused, *(Refusal(each.event, CLASH) for each in clashing)],
        through=status.through,
        last=status.last,
        missing=[(a, b) for a, b in status.missing[:GAPS_TOLD]],
    )


def _first_of_each(told: Sequence[Told]) -> list[Told]:
    """Those of a batch that do not repeat the id or the number of one before them in it."""
    ids, numbers, first = set(), set(), []
    for each in told:
        if each.event.id not in ids and each.sequence not in numbers:
            first.append(each)
        ids.add(each.event.id)
        numbers.add(each.sequence)
    return first


def _without(told: Sequence[Told], taken: Sequence[Told]) -> list[Told]:
    out = {id(each) for each in taken}
    return [each for each in told if id(each) not in out]


def _corrected(time: datetime, offset: float) -> datetime:
    """The moment by our clock, never one to come."""
    moment = time - timedelta(seconds=offset) if abs(offset) > CORRECTED_FROM else time
    return min(moment, timezone.now())


INSERT = """
INSERT INTO stations_gatewayevent
    (gateway_id, event_id, sequence, type, time, at, data, state, problems)
SELECT %(gateway)s, * FROM unnest(%(ids)s::uuid[], %(sequences)s::bigint[], %(types)s::text[],
    %(times)s::timestamptz[], %(at)s::timestamptz[], %(data)s::jsonb[], %(states)s::text[],
    %(problems)s::jsonb[])
ON CONFLICT DO NOTHING RETURNING sequence, id
"""


def _insert(gateway: Gateway, told: Sequence[Told]) -> dict[int, int]:
    """Write what is new; by its sequence, the number of its row."""
    with connection.cursor() as cursor:
        cursor.execute(INSERT, {
            "gateway": gateway.pk,
            "ids": [each.event.id for each in told],
            "sequences": [each.sequence for each in told],
            "types": [each.event.type for each in told],
            "times": [each.event.time for each in told],
            "at": [each.at for each in told],
            "data": [json.dumps(each.event.data) for each in told],
            "states": [_state(each.problems) for each in told],
            "problems": [json.dumps(_plain(each.problems)) for each in told],
        })  # fmt: skip
        return dict(cursor.fetchall())


def _state(problems: Sequence[Problem]) -> str:
    return (EventState.REFUSED if problems else EventState.TAKEN).value


def _plain(problems: Sequence[Problem]) -> list[dict[str, str]]:
    return [
        {"field": each.field, "value": str(each.value), "allowed": each.allowed}
        for each in problems
    ]


def _follow(by: Caller, told: Sequence[Told]) -> None:
    """What follows from events that are as they must be; each gets its problems, if any."""
    ordered = sorted(told, key=lambda each: (each.at, each.sequence))
    loaded = [each for each in ordered if each.event.type == LOADED]
    note_loaded(by.gateway, loaded)
    readings, seen = read(by.gateway, [each for each in ordered if each.event.type == READ_BACK])
    follow_differences(by.gateway, readings, loaded, seen)
    pour(by.gateway, [each for each in ordered if each.event.type == SHOT])
    note_heartbeats(by.gateway, [each for each in ordered if each.event.type == HEARTBEAT])


FOLLOWED = """
UPDATE stations_gatewayevent e SET state = t.state, problems = t.problems, shot_id = t.shot
FROM unnest(%s::bigint[], %s::text[], %s::jsonb[], %s::bigint[]) AS t (id, state, problems, shot)
WHERE e.id = t.id
"""


def _write_outcomes(told: Sequence[Told], rows: Mapping[int, int]) -> None:
    """What became of them beside being written."""
    changed = [each for each in told if each.found or each.shot]
    if not changed:
        return
    with connection.cursor() as cursor:
        cursor.execute(FOLLOWED, [
            [rows[each.sequence] for each in changed],
            [_state(each.problems) for each in changed],
            [json.dumps(_plain(each.problems)) for each in changed],
            [each.shot for each in changed],
        ])  # fmt: skip


CLASH = (
    Problem(
        "sequence",
        "",
        "one that this gateway did not use for another event: whoever lost its outbox goes on"
        " after `last`",
    ),
)


def _clashing(gateway: Gateway, known: Sequence[Told]) -> list[Told]:
    """Events of which the number came before, with another id: no repetition."""
    if not known:
        return []
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT event_id FROM stations_gatewayevent"
            " WHERE gateway_id = %s AND event_id = ANY(%s)",
            [gateway.pk, [each.event.id for each in known]],
        )
        came = {row[0] for row in cursor.fetchall()}
    return [each for each in known if each.event.id not in came]


def _count(status: GatewayStatus, came: Iterable[Told]) -> None:
    """Where it stands: the sequence without a gap before it, and what never came after that."""
    numbers = (each.sequence for each in came)
    status.last, gaps = with_came(status.last, status.missing, numbers)
    status.through, status.missing = through(status.last, gaps), [list(each) for each in gaps]
    status.save(update_fields=["clock_offset", "missing", "through", "last"])
