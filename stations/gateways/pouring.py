"""Shots that a gateway saw, many at once: linked by moment, judged like those that people log."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import connection
from django.db.models import Q
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Problem
from stations.equipment.models import Slot
from stations.gateways.batches import moment_of
from stations.gateways.models import Gateway
from stations.gateways.reading import OLDEST, SLACK
from stations.gateways.told import Told
from stations.grinders.models import GrinderEvent, GrinderStation
from stations.lots.models import LotOpening
from stations.metrology.formula import BEVERAGE, DOSE, SHOT_TIME
from stations.shots.actions import SHOT_LOGGED, shots_changed
from stations.shots.judging import BOUNDS, Weighed, cup_of, judge, overall
from stations.shots.models import CheckShot
from stations.slots.models import Placement
from web.checks import outside
from web.newest import newest_of_each
from web.numbers import BadNumber, read_number


@dataclass(frozen=True, slots=True)
class Poured:
    """One shot, weighed, with the slot it came from."""

    told: Told
    slot: Any
    shot: Weighed
    at: datetime


def pour(gateway: Gateway, told: Sequence[Told]) -> None:
    """Log what was weighed; without dose or yield a shot is kept as it was told, and not judged.

    A shot belongs to what was in force at its slot when it was pulled, to the lot that was open
    then and to the mark its grinder stood at, also where it comes late.
    """
    slots = _slots(gateway, told)
    poured = [one for each in told if (one := _weighed(each, slots))]
    if not poured:
        return
    then = _in_force(gateway, poured)
    for each in poured:
        if each.told.sequence not in then:
            allowed = "a slot in which something was in force when it was pulled"
            each.told.found.append(Problem("data.slot", each.slot.pk, allowed))
    if logged := [each for each in poured if not each.told.found]:
        with recorded(by=None, action=SHOT_LOGGED):
            _log(gateway, logged, then)


def _slots(gateway: Gateway, told: Sequence[Told]) -> dict[int, Any]:
    named = {each.event.data["slot"] for each in told}
    rows = Slot.objects.filter(pk__in=named, station__machine__site=gateway.site_id)
    return {slot.pk: slot for slot in rows}


def _weighed(told: Told, slots: Mapping[int, Any]) -> Poured | None:
    data = told.event.data
    slot = slots.get(data["slot"])
    if slot is None:
        told.found.append(Problem("data.slot", data["slot"], "a slot, as `settings` gave it"))
        return None
    at = _pulled_at(told)
    figures = {code: _figure(told, code, data.get(code)) for code in (DOSE, BEVERAGE, SHOT_TIME)}
    if told.found or at is None or None in figures.values():
        return None
    return Poured(told, slot, Weighed(**figures), at)  # type: ignore[arg-type]  # none is None


def _pulled_at(told: Told) -> datetime | None:
    """Its moment by our clock: corrected as its event's was."""
    text, now = told.event.data["pulled_at"], timezone.now()
    try:
        at = min(moment_of(text) + (told.at - told.event.time), now)
    except (ValueError, OverflowError):
        at = None
    if at is None or at < now - OLDEST:
        told.found.append(Problem("data.pulled_at", text, "a moment of the last five weeks"))
        return None
    return at


def _figure(told: Told, code: str, text: str | None) -> Decimal | None:
    if text is None:
        return None
    bounds = BOUNDS[code]
    try:
        number = read_number(text, bounds)
    except BadNumber:
        problem = outside(code, text, bounds)
        told.found.append(Problem(f"data.{code}", text, problem.allowed))
        return None
    return number


# What may have been in force at slots of a site since a moment: each part by an index of its own.
SINCE = """
SELECT id, slot_id, started_at, ended_at, manner FROM stations_placement
WHERE site_id = %(site)s AND ended_at > %(since)s AND slot_id = ANY(%(slots)s)
    AND started_at IS NOT NULL
UNION ALL SELECT id, slot_id, started_at, ended_at, manner FROM stations_placement
WHERE slot_id = ANY(%(slots)s) AND state = 'in_force'
UNION ALL SELECT id, slot_id, started_at, ended_at, manner FROM stations_placement
WHERE slot_id = ANY(%(slots)s) AND state = 'suspended'
"""


@dataclass(frozen=True, slots=True)
class Held:
    """A placement (id) and the time it was in force, or set aside by one that stepped in."""

    pk: int
    slot: int
    begun: datetime
    ended: datetime | None
    manner: str


def _in_force(gateway: Gateway, poured: Sequence[Poured]) -> dict[int, Placement]:
    """By the event's sequence, what its slot should have held at that moment."""
    slots = {each.slot.pk for each in poured}
    since = min(each.at for each in poured)
    held: dict[int, list[Held]] = defaultdict(list)
    with connection.cursor() as cursor:
        cursor.execute(SINCE, {"site": gateway.site_id, "slots": list(slots), "since": since})
        for row in cursor.fetchall():
            held[row[1]].append(Held(*row))
    found = {each.told.sequence: _at(held[each.slot.pk], each.at) for each in poured}
    named = {pk for pk in found.values() if pk}
    placements = Placement.objects.select_related("settings").in_bulk(named)
    return {sequence: placements[pk] for sequence, pk in found.items() if pk}


def _at(held: Sequence[Held], at: datetime) -> int | None:
    """What stepped in for a time lies above; of the others the one that began last holds.

    Where nothing held yet, clocks may differ a little: then what came into force right after it.
    """
    then = [each for each in held if each.begun <= at and (each.ended is None or each.ended > at)]
    if then:
        return max(then, key=lambda each: (each.manner == "steps_in", each.begun)).pk
    after = [each for each in held if at < each.begun <= at + SLACK]
    return min(after, key=lambda each: each.begun).pk if after else None


def _log(gateway: Gateway, poured: Sequence[Poured], then: Mapping[int, Placement]) -> None:
    ground = Grinding.of({each.slot.station_id for each in poured}, poured)
    shots = [_shot(gateway, each, then[each.told.sequence], ground) for each in poured]
    for each, made in zip(poured, CheckShot.objects.bulk_create(shots), strict=True):
        each.told.shot = made.pk
    touched = {
        (each.slot.station_id, then[each.told.sequence].settings.content_digest) for each in poured
    }
    for station, digest in sorted(touched):
        shots_changed.send(sender=CheckShot, station_id=station, content_digest=digest)


def _shot(gateway: Gateway, poured: Poured, placement: Placement, ground: "Grinding") -> CheckShot:
    grinder, setting, opening = ground.at(poured.slot, poured.at)
    verdicts = judge(cup_of(placement), poured.shot)
    return CheckShot(
        slot=poured.slot, site_id=gateway.site_id, placement=placement, gateway=gateway,
        at=poured.at, dose_mass=poured.shot.dose_mass, beverage_mass=poured.shot.beverage_mass,
        shot_time=poured.shot.shot_time, verdicts=verdicts, verdict=overall(verdicts),
        grinder_id=grinder, grind_setting=setting, opening_id=opening,
    )  # fmt: skip


@dataclass(frozen=True)
class Grinding:
    """Grinders, their marks and the lots open, of some stations over some time."""

    usual: Mapping[int, int]  # by slot, the grinder last used for it
    serving: Mapping[int, Sequence[int]]  # by station
    marks: Mapping[int, Sequence[tuple[datetime, Decimal]]]  # by grinder, newest first
    openings: Sequence[LotOpening]

    @classmethod
    def of(cls, stations: set[int], poured: Sequence[Poured]) -> "Grinding":
        """Five queries."""
        serving: dict[int, list[int]] = defaultdict(list)
        for station, grinder in (
            GrinderStation.objects.filter(station__in=stations)
            .order_by("grinder__name", "grinder")
            .values_list("station_id", "grinder_id")
        ):
            serving[station].append(grinder)
        grinders = {grinder for each in serving.values() for grinder in each}
        begin, end = min(each.at for each in poured), max(each.at for each in poured)
        open_then = Q(closed_at=None) | Q(closed_at__gt=begin)
        here = Q(grinder__in=grinders) | Q(station__in=stations)
        openings = LotOpening.objects.filter(open_then, here, opened_at__lte=end)
        return cls(
            _usual({each.slot.pk for each in poured}), serving, _marks(grinders, begin, end),
            list(openings.order_by("-opened_at", "-pk")),
        )  # fmt: skip

    def at(self, slot: Any, at: datetime) -> tuple[int | None, Decimal | None, int | None]:  # noqa: ANN401
        """Grinder, its mark and the lot (ids) for a slot at a moment."""
        serving = self.serving.get(slot.station_id, ())
        usual = self.usual.get(slot.pk)
        grinder = usual if usual in serving else next(iter(serving), None)
        opened = [
            each
            for each in self.openings
            if each.opened_at <= at and (each.closed_at is None or each.closed_at > at)
        ]
        of_grinder = (e.pk for e in opened if grinder and e.grinder_id == grinder)
        of_station = (e.pk for e in opened if e.station_id == slot.station_id)
        opening = next(of_grinder, None) or next(of_station, None)
        marks = self.marks.get(grinder, ()) if grinder else ()
        return grinder, next((mark for when, mark in marks if when <= at), None), opening


def _usual(slots: Iterable[int]) -> dict[int, int]:
    ground = CheckShot.objects.filter(grinder__isnull=False)
    newest = newest_of_each(ground, "slot", Slot.objects.filter(pk__in=list(slots)))
    return {slot: int(grinder or 0) for slot, grinder in newest.values_list("slot", "grinder")}


def _marks(
    grinders: set[int], begin: datetime, end: datetime
) -> dict[int, list[tuple[datetime, Decimal]]]:
    """Those set meanwhile, and the one that each stood at before: never the whole log."""
    marks: dict[int, list[tuple[datetime, Decimal]]] = defaultdict(list)
    events = GrinderEvent.objects.filter(grinder__in=grinders)
    meanwhile = events.filter(at__gt=begin, at__lte=end).order_by("-at", "-pk")
    for rows in (meanwhile, events.filter(at__lte=begin).newest_of_each()):
        for grinder, at, setting in rows.values_list("grinder_id", "at", "setting"):
            marks[grinder].append((at, setting))
    return marks
