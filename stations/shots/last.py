"""The last shots under placements, by some moment: how they stood against their tolerance then.

A shot that was corrected later counts as it stood then: its row is overwritten, the history keeps
what was in it.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.db import connection

from audit.capture.models import Entry, Operation
from stations.shots.models import CheckShot, ShotVerdict

NEWEST = 5

# What a later correction has overwritten is left to the history: few, and all of them.
LAST = """
SELECT p.id, s.id, s.at, s.verdict, s.verdicts, NULL::int
FROM unnest(%(placements)s::bigint[], %(until)s::timestamptz[]) AS p (id, until)
CROSS JOIN LATERAL (SELECT c.* FROM stations_checkshot c
    WHERE c.placement_id = p.id AND c.at <= p.until AND NOT c.left_out
        AND NOT (c.corrections > 0 AND EXISTS (SELECT 1 FROM stations_shotcorrection k
            WHERE k.shot_id = c.id AND k.at > p.until))
    ORDER BY c.at DESC, c.id DESC LIMIT %(newest)s) AS s
UNION ALL
SELECT p.id, s.id, s.at, s.verdict, s.verdicts, (SELECT count(*)
    FROM stations_shotcorrection k WHERE k.shot_id = s.id AND k.at <= p.until)::int
FROM unnest(%(placements)s::bigint[], %(until)s::timestamptz[]) AS p (id, until)
JOIN stations_checkshot s ON s.placement_id = p.id AND s.at <= p.until AND s.corrections > 0
WHERE EXISTS (SELECT 1 FROM stations_shotcorrection k WHERE k.shot_id = s.id AND k.at > p.until)
"""


# What is in force now counts until ever: the clocks of two machines may differ a little.
EVER = datetime(9999, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Poured:
    """One shot: when, how it compared, and value by value."""

    pk: int
    at: datetime
    verdict: str
    verdicts: Mapping[str, str]

    @property
    def out(self) -> bool:
        """Whether something of it was out of tolerance."""
        return self.verdict == ShotVerdict.OUTSIDE


def last_shots(placements: Mapping[int, datetime]) -> dict[int, list[Poured]]:
    """By placement (id), each until its moment: its newest shots that count, newest first.

    One query, and one more where something was corrected after its moment.
    """
    with connection.cursor() as cursor:
        until = list(placements.values())
        asked: dict[str, Any] = {"placements": list(placements), "until": until}
        cursor.execute(LAST, asked | {"newest": NEWEST})
        rows = cursor.fetchall()
    before = _before({pk: done for _, pk, *_, done in rows if done is not None})
    found: dict[int, list[Poured]] = {}
    for placement, pk, at, verdict, verdicts, _ in rows:
        shot = before.get(pk, (verdict, _parsed(verdicts), False))
        if not shot[2]:
            found.setdefault(placement, []).append(Poured(pk, at, shot[0], shot[1]))
    return {pk: _newest(shots) for pk, shots in found.items()}


def _newest(shots: Sequence[Poured]) -> list[Poured]:
    return sorted(shots, key=lambda one: (one.at, one.pk), reverse=True)[:NEWEST]


State = tuple[str, Mapping[str, str], bool]  # verdict, verdicts, left out
UNKNOWN: State = ("", {}, True)


def _before(corrected: Mapping[int, int]) -> dict[int, State]:
    """Shots (id) as they stood after so many corrections.

    What the archives took away is not guessed: such a shot counts as left out.
    """
    if not corrected:
        return {}
    rows = Entry.objects.filter(
        subject_type="slot", row_id__in=corrected, table_name=CheckShot._meta.db_table,
        subject_id__in=CheckShot.objects.filter(pk__in=corrected).values("slot"),
    ).order_by("id").values_list("row_id", "operation", "changes")  # fmt: skip
    told: dict[int, list[Mapping[str, Sequence[object]]]] = {}
    for pk, operation, changes in rows:
        if operation == Operation.CREATED:
            told[int(pk or 0)] = [changes]
        elif pk in told:
            told[pk].append(changes)
    return {
        pk: _replayed(told[pk][: done + 1]) if pk in told else UNKNOWN
        for pk, done in corrected.items()
    }


def _replayed(changes: Iterable[Mapping[str, Sequence[object]]]) -> State:
    row: dict[str, object] = {}
    for each in changes:
        row |= {column: pair[1] for column, pair in each.items()}
    return str(row.get("verdict", "")), _parsed(row.get("verdicts")), bool(row.get("left_out"))


def _parsed(told: Any) -> Mapping[str, str]:  # noqa: ANN401
    return dict(json.loads(told) if isinstance(told, str) else told or {})
