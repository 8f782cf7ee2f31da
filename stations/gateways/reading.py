"""What a gateway found slots to hold, many readings of many moments at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import connection
from django.db.models import F, Q
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Problem
from stations.gateways.inbox import SlotSeen
from stations.gateways.models import Gateway
from stations.gateways.noting import not_there
from stations.gateways.told import Told
from stations.machine_types.catalogue import unit_of
from stations.slots.models import Placement, ReadBack
from stations.slots.read_backs import SLOT_READ_BACK, settle_verdicts
from stations.slots.signed import withhold
from stations.slots.verdicts import compare, overall, read_found
from web.newest import newest_of_each

OLDEST = timedelta(days=35)  # the database's own bound (stations.slots.guards)
SLACK = timedelta(seconds=60)  # of clocks: read just before, or after, what it was read for


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading, judged."""

    told: Told
    placement: int
    slot: int
    at: datetime
    found: Mapping[str, str]
    verdicts: Mapping[str, str]
    verdict: str


def read(
    gateway: Gateway, told: Sequence[Told]
) -> tuple[list[Reading], dict[int, tuple[datetime, datetime | None]]]:
    """Write down what is new of the readings; each that can't be used gets its problems.

    One that finds exactly what the one before found is no news: only its moment is noted. Gives
    every reading that was taken, by moment; and by slot when it was read before these, and when
    it was found as it should be.
    """
    if not told:
        return [], {}
    placements = _lock(gateway, told)
    judged = [_judge(each, placements) for each in told]
    readings = sorted(filter(None, judged), key=lambda each: (each.at, each.told.sequence))
    before = _newest_before({each.placement for each in readings})
    with recorded(by=None, action=SLOT_READ_BACK):
        _write(gateway, _news(readings, before))
        telling = [each for each in readings if each.verdict != "unread"]
        settle_verdicts({each.placement: (each.at, each.verdict) for each in telling})
    seen = SlotSeen.objects.filter(slot__in={each.slot for each in readings})
    before_these = {pk: (at, good) for pk, at, good in seen.values_list("slot", "at", "good_at")}
    _note_seen(readings)
    return readings, before_these


def _lock(gateway: Gateway, told: Sequence[Told]) -> dict[int, Any]:
    """The placements named, of this site alone, locked in one order for all."""
    named = {each.event.data["placement"] for each in told}
    rows = Placement.objects.filter(pk__in=named, site=gateway.site_id)
    whole = rows.select_related("settings", "signature", "slot")
    whole = whole.annotate(above_at=F("superseded_by__started_at"))
    locked = list(whole.select_for_update(of=("self",)).order_by("pk"))
    withhold(locked)
    return {placement.pk: placement for placement in locked}


def _judge(told: Told, placements: Mapping[int, Any]) -> Reading | None:
    data = told.event.data
    placement = placements.get(data["placement"])
    if placement is None or placement.slot_id != data["slot"]:
        told.found.append(not_there(data["placement"]))
        return None
    at = _moment(told, placement)
    if at is None:
        return None
    expected = placement.settings.values
    found = {code: given["value"] for code, given in data["settings"].items()}
    told.found += [*_other_units(expected, data["settings"])]
    kept, problems = read_found(expected, found)
    told.found += [_inside(each) for each in problems]
    if told.found:
        return None
    verdicts = compare(expected, kept, unread=data.get("unread", ()))
    return Reading(told, placement.pk, placement.slot_id, at, kept, verdicts, overall(verdicts))


def _moment(told: Told, placement: Any) -> datetime | None:  # noqa: ANN401
    """When it was read, within the time that the placement was in force."""
    if placement.problem:
        told.found.append(Problem("data.placement", placement.pk, placement.problem))
        return None
    if told.at < timezone.now() - OLDEST:
        told.found.append(Problem("time", told.event.time, "a moment of the last five weeks"))
        return None
    ended = placement.ended_at or (placement.above_at if placement.state == "suspended" else None)
    begun: datetime | None = placement.started_at
    if begun is None or told.at < begun - SLACK or (ended and told.at > ended + SLACK):
        allowed = "what was in force in that slot at that moment: fetch the settings again"
        told.found.append(Problem("data.placement", placement.pk, allowed))
        return None
    return max(told.at, begun)


def _other_units(expected: Mapping[str, Any], given: Mapping[str, Any]) -> list[Problem]:
    return [
        Problem(f"data.settings.{code}.unit", given[code]["unit"], unit)
        for code, should in expected.items()
        if code in given
        and given[code]["value"]
        and given[code]["unit"] != (unit := should.get("unit") or unit_of(code))
    ]


def _inside(problem: Problem) -> Problem:
    return Problem(f"data.settings.{problem.field}", problem.value, problem.allowed)


def _newest_before(placements: set[int]) -> dict[int, tuple[datetime, Any, Any]]:
    """By placement what was read last: when, what, and the verdict on each setting.

    What was read before a permit's end says nothing of what the slot holds after it.
    """
    among = Placement.objects.filter(pk__in=placements)
    newest = newest_of_each(ReadBack.objects.all(), "placement", among)
    newest = newest.exclude(~Q(verdict="unread"), placement__verdict="unread")
    return {
        pk: (at, found, verdicts)
        for pk, at, found, verdicts in newest.values_list("placement_id", "at", "found", "verdicts")
    }


def _news(
    readings: Sequence[Reading], before: Mapping[int, tuple[datetime, Any, Any]]
) -> list[Reading]:
    """Those that find something else than the one before them, or came late."""
    last, news = dict(before), []
    for each in readings:
        known = last.get(each.placement)
        same = known and each.at >= known[0] and known[1:] == (each.found, each.verdicts)
        if not same:
            news.append(each)
        if known is None or each.at >= known[0]:
            last[each.placement] = (each.at, each.found, each.verdicts)
    return news


def _write(gateway: Gateway, news: Sequence[Reading]) -> None:
    ReadBack.objects.bulk_create(
        ReadBack(
            slot_id=each.slot,
            placement_id=each.placement,
            gateway=gateway,
            at=each.at,
            found=dict(each.found),
            verdicts=dict(each.verdicts),
            verdict=each.verdict,
        )
        for each in news
    )


SEEN = """
INSERT INTO stations_slotseen AS s (slot_id, placement_id, at, verdict, good_at)
SELECT * FROM unnest(%s::bigint[], %s::bigint[], %s::timestamptz[], %s::text[], %s::timestamptz[])
ON CONFLICT (slot_id) DO UPDATE SET
    placement_id = CASE WHEN s.at <= excluded.at THEN excluded.placement_id ELSE s.placement_id END,
    verdict = CASE WHEN s.at <= excluded.at THEN excluded.verdict ELSE s.verdict END,
    at = greatest(s.at, excluded.at),
    good_at = greatest(s.good_at, excluded.good_at)
"""


def _note_seen(readings: Sequence[Reading]) -> None:
    """When each slot was last read, and last found as it should be."""
    newest = {each.slot: each for each in readings}
    good = {each.slot: each.at for each in readings if each.verdict == "matches"}
    if newest:
        rows = [
            (slot, each.placement, each.at, each.verdict, good.get(slot))
            for slot, each in sorted(newest.items())
        ]
        with connection.cursor() as cursor:
            cursor.execute(SEEN, [list(column) for column in zip(*rows, strict=True)])
