"""The sweep: what came in since the last one, for all stations, and what is found by it.

Some stations at a time, each time with the same few queries; what was looked at once is not read
again.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime

from django.db import transaction
from django.db.models.functions import Now

from audit.capture.context import recorded
from audit.vocabulary import register
from stations.causes.evidence import Renewed, renewals
from stations.causes.following import Following
from stations.causes.models import CauseFinding, CauseRun, Evidence
from stations.causes.traces import Poured, poured_since
from stations.equipment.models import Station
from stations.gateways.models import Gateway
from stations.metrology.causes import RUN_LENGTH, TESTS, Cause, Signal
from web.numbers import rounded

CAUSE_FOUND = register("cause.found", "Found a cause of drift")
CAUSE_CLEARED = register("cause.cleared", "Cleared a cause of drift")

TOGETHER = 20  # stations
PLACES = 4
EVER = datetime(2000, 1, 1, tzinfo=UTC)


def look_for_causes() -> int:
    """Take on every shot that gateways told since the last time; how many findings are new."""
    sites = Gateway.objects.in_use().values("site")
    stations = Station.objects.filter(machine__site__in=sites).order_by("pk")
    named = list(stations.values_list("pk", flat=True))
    found = 0
    for begin in range(0, len(named), TOGETHER):
        with transaction.atomic():
            found += _look(named[begin : begin + TOGETHER])
    return found


def _look(stations: Sequence[int]) -> int:
    runs = _runs(stations)
    lasting = _lasting(stations)
    changed = _begin_anew(runs, lasting, renewals(stations))
    since = {station: min(runs[station, cause].read_to for cause in Cause) for station in stations}
    poured = poured_since(since)
    new: list[CauseFinding] = []
    over: list[CauseFinding] = []
    for (station, cause), run in runs.items():
        here = poured.get(station, [])
        if here:
            changed.add(run.pk)
        _follow(run, cause, here, lasting.get((station, cause)), new, over)
    CauseRun.objects.bulk_update(
        [run for run in runs.values() if run.pk in changed],
        ["begun_at", "read_to", "scored", "kept"],
    )
    _write(new, over)
    return len(new)


def _runs(stations: Sequence[int]) -> dict[tuple[int, Cause], CauseRun]:
    """Every cause of each, locked in one order; those that are missing are begun."""
    rows = CauseRun.objects.filter(station__in=stations).order_by("pk")
    runs = {(run.station_id, Cause(run.cause)): run for run in rows.select_for_update()}
    missing = [
        CauseRun(station_id=station, cause=cause.value, begun_at=EVER, read_to=EVER)
        for station in stations
        for cause in Cause
        if (station, cause) not in runs
    ]
    if missing:
        CauseRun.objects.bulk_create(missing, ignore_conflicts=True)
        runs = {(run.station_id, Cause(run.cause)): run for run in rows.select_for_update()}
    return runs


def _lasting(stations: Sequence[int]) -> dict[tuple[int, Cause], CauseFinding]:
    rows = CauseFinding.objects.lasting().filter(station__in=stations).order_by("pk")
    return {
        (each.station_id, Cause(each.cause)): each for each in rows.select_for_update(of=("self",))
    }


def _begin_anew(
    runs: Mapping[tuple[int, Cause], CauseRun],
    lasting: dict[tuple[int, Cause], CauseFinding],
    renewed: Iterable[Renewed],
) -> set[int]:
    """What was learnt of a part is over once it is another, or known anew; so is a finding."""
    changed: set[int] = set()
    cleared: list[CauseFinding] = []
    for each in renewed:
        run = runs[each.station, each.cause]
        if each.at <= run.begun_at:
            continue
        run.begun_at, run.read_to, run.scored, run.kept = each.at, max(run.read_to, each.at), 0, {}
        changed.add(run.pk)
        finding = lasting.get((each.station, each.cause))
        if finding and each.noted_at >= finding.found_at:
            _clear(finding, each.evidence, each.pk, each.words)
            cleared.append(lasting.pop((each.station, each.cause)))
    _write([], cleared)
    return changed


def _clear(finding: CauseFinding, evidence: Evidence, pk: int | None, words: str) -> None:
    finding.state, finding.evidence = "cleared", evidence.value
    finding.evidence_id, finding.evidence_words = pk, words


def _follow(  # noqa: PLR0917 - what one run has to do with
    run: CauseRun,
    cause: Cause,
    poured: Iterable[Poured],
    finding: CauseFinding | None,
    new: list[CauseFinding],
    over: list[CauseFinding],
) -> None:
    """Take the shots on, one after another, with what they begin and end."""
    following = Following.of(run.kept)
    for each in poured:
        if each.at <= run.read_to:
            continue
        run.read_to = each.at
        since = finding.acknowledged_at if finding else None
        run.scored += following.take(cause, each, open_since=since, lasts=finding is not None)
        if finding is None and (signal := following.signal(cause)):
            finding = _found(run, cause, each, signal, following)
            new.append(finding)
        elif finding and finding.acknowledged_at and following.back(float(finding.size)):
            words = f"{len(following.after)} shots are as before"
            _clear(finding, Evidence.SHOTS, None, words)
            over.append(finding)
            finding = None
            following.go_on()
    run.kept = following.kept()


def _found(
    run: CauseRun, cause: Cause, last: Poured, signal: Signal, following: Following
) -> CauseFinding:
    points = following.points
    began = points[-min(signal.shots, len(points))][0]
    return CauseFinding(
        station_id=run.station_id, cause=cause.value, upward=signal.upward,
        size=rounded(signal.size, PLACES), total=rounded(signal.total, PLACES),
        decision=rounded(TESTS[cause].decision, PLACES), run_length=RUN_LENGTH,
        shots=signal.shots, points=points, began_at=datetime.fromisoformat(began),
        grinder_id=last.grinder if cause is Cause.GRIND else None,
    )  # fmt: skip


def _write(new: Sequence[CauseFinding], over: Sequence[CauseFinding]) -> None:
    if over:
        with recorded(by=None, action=CAUSE_CLEARED):
            for each in over:
                each.cleared_at = Now()
                each.revision += 1
            CauseFinding.objects.bulk_update(
                over,
                ["state", "evidence", "evidence_id", "evidence_words", "cleared_at", "revision"],
            )
    if new:
        sites = dict(
            Station.objects.filter(pk__in=[each.station_id for each in new]).values_list(
                "pk", "machine__site"
            )
        )
        for each in new:
            each.site_id = sites[each.station_id]
        with recorded(by=None, action=CAUSE_FOUND):
            CauseFinding.objects.bulk_create(new)
