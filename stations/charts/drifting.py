"""Drift: charts whose newest check shots signal against a frozen baseline.

Kept up to date station by station, whenever a shot is logged or corrected or a baseline frozen, so
that a board of a thousand sites reads a few rows and works out no chart.
"""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import Exists, OuterRef
from django.dispatch import receiver
from django.utils import timezone

from stations.charts.charting import CHARTED, baseline_of, counting, lineage_at
from stations.charts.clearing import held_at, replaced_by, still_open
from stations.charts.lineage import Lineage, earlier_at, lineage_of
from stations.charts.models import ChartBaseline, Drift
from stations.equipment.models import Station
from stations.equipment.replaced import baselines_end
from stations.metrology.charts import Baseline, ewma_chart
from stations.metrology.errors import BadValueError
from stations.metrology.run_rules import MEANING, RunRule, find_signals, standardised
from stations.shots.actions import shots_changed
from stations.shots.models import CheckShot
from stations.slots.models import Placement

NEWEST = 5  # shots among which a signal is news
LOOKED_AT = 60  # shots since the baseline; by then an EWMA has forgotten where it began
RULES = (RunRule.N1, RunRule.N2)


@receiver(shots_changed)
def note_drift_later(*, station_id: int, content_digest: str, **_: object) -> None:
    """Once what is being written is written; a fault of this never undoes the shot."""
    if content_digest:
        transaction.on_commit(lambda: note_drift(station_id, content_digest), robust=True)


def note_drift(station_id: int, content_digest: str) -> list[Drift]:
    """Work out the station's charts of that content, and keep those that signal.

    Two at once wait for one another, and each reads after its own shot was committed: whoever
    comes last has seen every shot.
    """
    with transaction.atomic():
        station = _locked(station_id, content_digest)
        if station is None:
            return []  # nor was anything noted: a baseline stays for good
        earlier, ended = earlier_at(station, content_digest), baselines_end(station)
        lineages = {code: lineage_of(content_digest, earlier, code) for code in CHARTED}
        baselines = _counting(station_id, lineages, ended)
        found = {
            code: drift
            for code, baseline in baselines.items()
            if (drift := _judged(baseline, lineages[code], station.machine.site_id))
        }
        noted = list(Drift.objects.filter(station=station_id).select_related("shot"))
        if station.holds:
            _hand_over(noted, found, baselines, lineages)
            _keep(noted, found, content_digest)
        else:
            _keep_replaced(station, noted, found, content_digest)
        return list(found.values())


def note_all_drifts() -> int:
    """Work out every chart that has a baseline anew, its own or one it carries over.

    Returns how many signal.
    """
    frozen = ChartBaseline.objects.order_by("station", "content_digest")
    pairs = set(frozen.values_list("station", "content_digest").distinct())
    held = Placement.objects.in_force().filter(slot__station__in=frozen.values("station"))
    held = held.exclude(settings__content_digest="")
    pairs |= set(held.values_list("slot__station", "settings__content_digest").distinct())
    for pair in sorted(pairs):
        note_drift(*pair)
    return Drift.objects.count()


def _locked(station_id: int, content_digest: str) -> Any | None:  # noqa: ANN401
    """The station, locked, with whether a slot ``holds`` the content; None without baselines."""
    rows = Station.objects.select_for_update(of=("self",), no_key=True).select_related("machine")
    holding = Placement.objects.in_force().filter(
        slot__station=OuterRef("pk"), settings__content_digest=content_digest
    )
    known = ChartBaseline.objects.filter(station=OuterRef("pk"))
    return rows.filter(Exists(known), pk=station_id).annotate(holds=Exists(holding)).first()


def _counting(
    station_id: int, lineages: Mapping[str, Lineage], ended: datetime | None
) -> dict[str, ChartBaseline]:
    """By value, the baseline that counts: its content's own, or one carried over."""
    every = {digest for one in lineages.values() for digest in one.digests}
    rows = ChartBaseline.objects.filter(station=station_id, content_digest__in=every)
    rows = rows.order_by("code", "content_digest", "-id").distinct("code", "content_digest")
    newest = sorted(rows.select_related("last_shot"), key=lambda one: -one.pk)
    found = {}
    for code, lineage in lineages.items():
        mine = [one for one in newest if one.code == code and one.content_digest in lineage.digests]
        if baseline := counting(mine, lineage.content_digest, ended):
            found[code] = baseline
    return found


def _judged(frozen: ChartBaseline, lineage: Lineage, site_id: int) -> Drift | None:
    """The drift by the newest shot that signals; they count from the baseline on."""
    rows = CheckShot.objects.counted()
    rows = rows.after(frozen.last_shot).exclude(**{frozen.code: None}).select_related("placement")
    newest = rows.newest_under(lineage.digests, frozen.station_id, LOOKED_AT)
    shots = list(reversed(newest))
    values = [getattr(shot, frozen.code) for shot in shots]
    try:
        signalling = signals(values, baseline_of(frozen, values)) if values else {}
    except BadValueError:
        return None
    late = [at for at in signalling if at > len(values) - NEWEST]
    if not late:
        return None
    return Drift(
        station_id=frozen.station_id, site_id=site_id, content_digest=lineage.content_digest,
        code=frozen.code, baseline=frozen, shot=shots[max(late) - 1],
        rules="; ".join(signalling[max(late)])[:200], noted_at=timezone.now(),
    )  # fmt: skip


def _keep(noted: Collection[Drift], found: Mapping[str, Drift], content_digest: str) -> None:
    """Write what signals under this content, and take away what no longer does."""
    own = {one.code: one for one in noted if one.content_digest == content_digest}
    if over := [one.pk for code, one in own.items() if code not in found]:
        Drift.objects.filter(pk__in=over).delete()
    for code, drift in found.items():
        before = own[code].began_under if code in own else ""
        drift.began_under = drift.began_under or before or content_digest
    Drift.objects.bulk_create(
        found.values(), update_conflicts=True, unique_fields=["station", "content_digest", "code"],
        update_fields=["baseline", "shot", "rules", "noted_at", "began_under", "uncleared_at"],
    )  # fmt: skip


# Settings that others took the place of: publishing silences nothing.


def _hand_over(
    noted: Collection[Drift],
    found: Mapping[str, Drift],
    baselines: Mapping[str, ChartBaseline],
    lineages: Mapping[str, Lineage],
) -> None:
    """What drifted under settings that one content replaced: judged by its own chart, or cleared.

    Where its chart can't judge, shots under it have to clear the drift.
    """
    content_digest = lineages[CHARTED[0]].content_digest
    others = [one for one in noted if one.content_digest != content_digest]
    replaced = replaced_by(others, content_digest) if others else []
    judged = [
        one
        for one in replaced
        if one.code in found or _judges(baselines.get(one.code), lineages[one.code], one)
    ]
    for one in judged:
        if one.code in found:
            found[one.code].began_under = one.began_under or one.content_digest
    open_ = [one for one in replaced if one not in judged]
    left, cleared = still_open(open_, content_digest, baselines)
    Drift.objects.filter(pk__in=[one.pk for one in (*judged, *cleared)]).delete()
    Drift.objects.bulk_update(left, ["uncleared_at"])


def _judges(baseline: ChartBaseline | None, lineage: Lineage, drift: Drift) -> bool:
    """Whether a chart says by itself that a drift under other settings is over.

    It does where it goes on from the chart that drifted, or was frozen since; one that stood before
    has not heard of it.
    """
    if baseline is None:
        return False
    return drift.content_digest in lineage.digests or baseline.at > drift.shot.at


def _keep_replaced(
    station: Station, noted: Collection[Drift], found: dict[str, Drift], content_digest: str
) -> None:
    """A shot came late, or was corrected, under settings that no slot there holds any more.

    It counts as far as what took their place says nothing of it: a chart that judges for both, or
    shots that cleared it.
    """
    held = held_at(station.pk)
    for code, drift in list(found.items()):
        after = held.get(drift.shot.slot_id, "")
        if not after:
            continue
        lineage = lineage_at(station, after, code)
        counts = _counting(station.pk, {code: lineage}, baselines_end(station))
        signals_there = any((one.content_digest, one.code) == (after, code) for one in noted)
        if signals_there or _judges(counts.get(code), lineage, drift):
            note_drift(station.pk, after)  # one noted before is handed over to it
            del found[code]
        else:
            _, cleared = still_open([drift], after, counts)
            for _ in cleared:
                del found[code]
    _keep(noted, found, content_digest)


def signals(values: Sequence[Decimal], baseline: Baseline) -> dict[int, list[str]]:
    """What signals at which shot, counted from 1, by the rules that count as drift."""
    found: dict[int, list[str]] = {}
    for one in find_signals(standardised(np.array(values, dtype=float), baseline), RULES):
        found.setdefault(one.position, []).append(MEANING[one.rule])
    for at in ewma_chart(values, baseline).signals:
        found.setdefault(at, []).append("EWMA beyond its limit")
    return found
