"""Drift: charts whose newest check shots signal against a frozen baseline.

Kept up to date station by station, whenever a shot is logged or corrected or a baseline frozen, so
that a board of a thousand sites reads a few rows and works out no chart.
"""

from collections.abc import Sequence
from decimal import Decimal

import numpy as np
from django.db import transaction
from django.dispatch import receiver
from django.utils import timezone

from stations.charts.charting import CHARTED, baseline_of
from stations.charts.models import ChartBaseline, Drift
from stations.equipment.models import Station
from stations.equipment.replaced import baselines_end
from stations.metrology.charts import Baseline, ewma_chart
from stations.metrology.errors import BadValueError
from stations.metrology.run_rules import MEANING, RunRule, find_signals, standardised
from stations.shots.actions import shots_changed
from stations.shots.models import CheckShot

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
    charts = ChartBaseline.objects.filter(station=station_id, content_digest=content_digest)
    if not charts.exists():
        return []  # nor was anything noted: a baseline stays for good
    with transaction.atomic():
        rows = Station.objects.select_for_update(of=("self",), no_key=True)
        station = rows.select_related("machine").get(pk=station_id)
        ended = baselines_end(station)
        newest = _newest(station_id, content_digest)
        baselines = [each for each in newest if ended is None or each.at > ended]
        found = [drift for each in baselines if (drift := _judged(each, station.machine.site_id))]
        kept = Drift.objects.filter(station=station_id, content_digest=content_digest)
        kept.exclude(code__in=[each.code for each in found]).delete()
        Drift.objects.bulk_create(
            found, update_conflicts=True, unique_fields=["station", "content_digest", "code"],
            update_fields=["baseline", "shot", "rules", "noted_at"],
        )  # fmt: skip
        return found


def note_all_drifts() -> int:
    """Work out every chart that has a baseline anew; returns how many signal."""
    kinds = ChartBaseline.objects.order_by("station", "content_digest")
    pairs = kinds.values_list("station", "content_digest").distinct()
    return sum(len(note_drift(*pair)) for pair in pairs)


def _newest(station_id: int, content_digest: str) -> list[ChartBaseline]:
    """The baseline that counts, of each of the station's charts."""
    rows = ChartBaseline.objects.filter(station=station_id, content_digest=content_digest)
    rows = rows.filter(code__in=CHARTED).select_related("last_shot")
    return list(rows.order_by("code", "-id").distinct("code"))


def _judged(frozen: ChartBaseline, site_id: int) -> Drift | None:
    """The drift by the newest shot that signals; they count from the baseline on."""
    rows = CheckShot.objects.counted().of_content(frozen.content_digest)
    rows = rows.filter(slot__station=frozen.station_id).after(frozen.last_shot)
    rows = rows.exclude(**{frozen.code: None}).newest_first()
    shots = list(reversed(rows.values_list("pk", frozen.code)[:LOOKED_AT]))
    values = [value for _, value in shots]
    try:
        signalling = signals(values, baseline_of(frozen, values)) if values else {}
    except BadValueError:
        return None
    late = [at for at in signalling if at > len(values) - NEWEST]
    if not late:
        return None
    return Drift(
        station_id=frozen.station_id, site_id=site_id, content_digest=frozen.content_digest,
        code=frozen.code, baseline=frozen, shot_id=shots[max(late) - 1][0],
        rules="; ".join(signalling[max(late)])[:200], noted_at=timezone.now(),
    )  # fmt: skip


def signals(values: Sequence[Decimal], baseline: Baseline) -> dict[int, list[str]]:
    """What signals at which shot, counted from 1, by the rules that count as drift."""
    found: dict[int, list[str]] = {}
    for one in find_signals(standardised(np.array(values, dtype=float), baseline), RULES):
        found.setdefault(one.position, []).append(MEANING[one.rule])
    for at in ewma_chart(values, baseline).signals:
        found.setdefault(at, []).append("EWMA beyond its limit")
    return found
