"""Stations whose newest check shots signal against a frozen baseline."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

import numpy as np
from django.utils import timezone

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb
from stations.charting import baseline_of
from stations.metrology.charts import Baseline, ewma_chart
from stations.metrology.errors import BadValueError
from stations.metrology.run_rules import RunRule, find_signals, standardised
from stations.models import ChartBaseline, CheckShot
from stations.shots import LABELS

LATELY = timedelta(days=14)
NEWEST = 5  # shots among which a signal is news
MOST = 200  # baselines looked at
RULES = (RunRule.N1, RunRule.N2)
Key = tuple[int, str]


@dataclass(frozen=True, slots=True)
class Drift:
    """One chart that signals: where, and of what."""

    baseline: ChartBaseline

    @property
    def words(self) -> str:
        """As a line of a list."""
        station = self.baseline.station
        return f"{station.machine}, station {station.number}: {LABELS[self.baseline.code]} drifts"


def drifts(user: User) -> list[Drift]:
    """The charts that signal at this person's sites: two queries, whatever their number."""
    baselines = _newest(user)
    if not baselines:
        return []
    shots = _recent({each.station_id for each in baselines})
    return [Drift(each) for each in baselines if _signals(each, shots)]


def _newest(user: User) -> list[ChartBaseline]:
    """The baseline that counts, of each chart."""
    rows = ChartBaseline.objects.select_related("station__machine__site")
    sites = covered_sites(user, Verb.SLOT_VIEW)
    rows = rows if sites is None else rows.filter(station__machine__site__in=sites)
    kind = ("station_id", "content_digest", "code")
    return list(rows.order_by(*kind, "-id").distinct(*kind)[:MOST])


def _recent(stations: Iterable[int]) -> dict[Key, list[CheckShot]]:
    """The shots of late by station and content, oldest first."""
    rows = CheckShot.objects.counted().filter(slot__station__in=stations)
    rows = rows.filter(at__gte=timezone.now() - LATELY)
    found: dict[Key, list[CheckShot]] = defaultdict(list)
    for shot in rows.select_related("placement__settings", "slot").order_by("id"):
        found[shot.slot.station_id, shot.placement.settings.content_digest].append(shot)
    return found


def _signals(frozen: ChartBaseline, shots: dict[Key, list[CheckShot]]) -> bool:
    """Whether any of the newest shots signals; they count from the baseline on."""
    taken = shots.get((frozen.station_id, frozen.content_digest), [])
    after = [getattr(shot, frozen.code) for shot in taken if shot.pk > frozen.last_shot]
    values = [value for value in after if value is not None]
    try:
        return bool(values) and _is_off(values, baseline_of(frozen, values))
    except BadValueError:
        return False


def _is_off(values: list[Decimal], baseline: Baseline) -> bool:
    new = len(values) - NEWEST
    runs = find_signals(standardised(np.array(values, dtype=float), baseline), RULES)
    places = [one.position for one in runs] + ewma_chart(values, baseline).signals
    return any(at > new for at in places)
