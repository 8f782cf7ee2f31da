"""A station's check shots under one content, judged by control charts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from stations.charts.models import ChartBaseline
from stations.equipment.models import Station
from stations.equipment.replaced import baselines_end
from stations.metrology import charts
from stations.metrology.charts import Baseline, freeze_baseline
from stations.metrology.errors import BadValueError
from stations.metrology.formula import BEVERAGE, DOSE, SHOT_TIME
from stations.metrology.run_rules import (
    MEANING,
    NELSON,
    WESTERN_ELECTRIC,
    RunRule,
    find_signals,
    standardised,
)
from stations.shots.models import CheckShot
from web.numbers import rounded

SHOWN = 200  # the newest shots that are charted
BASELINES = 10  # that are listed
FIRST = 20  # shots a baseline is made of while none is frozen; common practice, no source
ALLOWANCE, DECISION = 0.5, 5.0  # of a CUSUM, in standard deviations; common practice
PLACES = 2
RULES: dict[str, tuple[RunRule, ...]] = {
    "western": WESTERN_ELECTRIC,
    "nelson": NELSON,
    "limits": (RunRule.N1,),
}
CHARTED = (BEVERAGE, SHOT_TIME, DOSE, "strength")


@dataclass(frozen=True, slots=True)
class Signal:
    """A rule that a shot meets, and what it means."""

    rule: str
    meaning: str

    @property
    def words(self) -> str:
        """As a cell of a table."""
        return f"{self.rule}: {self.meaning}"


@dataclass(frozen=True, slots=True)
class ChartedShot:
    """One shot of the table: what each chart plots for it, and what signals at it."""

    shot: CheckShot
    value: Decimal
    range: Decimal | None
    ewma: Decimal
    above: Decimal
    below: Decimal
    signals: Sequence[Signal]


@dataclass(frozen=True, slots=True)
class Charts:
    """The shots, oldest first, on all four charts; ``signals_at`` is by position, from 1."""

    code: str
    shots: Sequence[CheckShot]
    values: Sequence[Decimal]
    baseline: Baseline
    frozen: ChartBaseline | None
    individuals: charts.Chart
    ranges: charts.Chart | None  # None with a single shot
    ewma: charts.Chart
    cusum: charts.Cusum
    signals_at: Mapping[int, Sequence[Signal]]

    @property
    def signalling(self) -> int:
        """How many shots signal."""
        return len(self.signals_at)

    @property
    def lines(self) -> list[ChartedShot]:
        """Shot by shot, newest first."""
        return [self._line(at) for at in reversed(range(len(self.shots)))]

    def _line(self, at: int) -> ChartedShot:
        step = None if at == 0 or self.ranges is None else self.ranges.plotted[at - 1]
        return ChartedShot(
            self.shots[at],
            self.values[at],
            None if step is None else rounded(step, PLACES),
            ewma=rounded(self.ewma.plotted[at], PLACES),
            above=rounded(self.cusum.high[at], PLACES),
            below=rounded(self.cusum.low[at], PLACES),
            signals=self.signals_at.get(at + 1, ()),
        )


def shots_of(station: Station, digest: str, code: str) -> list[CheckShot]:
    """The newest counted shots with that value, oldest first."""
    rows = CheckShot.objects.counted().of_content(digest).filter(slot__station=station)
    if ended := baselines_end(station):
        rows = rows.filter(at__gt=ended)
    rows = rows.exclude(**{code: None}).select_related("placement__settings", "by")
    return list(reversed(rows.newest_first()[:SHOWN]))


def contents_of(station: Station) -> dict[str, str]:
    """Digest and title of every signed content that was brewed there, the newest first."""
    rows = CheckShot.objects.filter(slot__station=station).exclude(
        placement__settings__content_digest=""
    )
    pairs = rows.newest_first().values_list(
        "placement__settings__content_digest", "placement__settings__title"
    )
    found: dict[str, str] = {}
    for digest, title in pairs[:SHOWN]:
        found.setdefault(digest, title)
    return found


def frozen_baseline(station: Station, digest: str, code: str) -> ChartBaseline | None:
    """The newest one, which counts, unless what pours was replaced since."""
    rows = ChartBaseline.objects.filter(station=station, content_digest=digest, code=code)
    found = rows.select_related("by", "last_shot").first()
    ended = baselines_end(station)
    return None if found is None or (ended and found.at <= ended) else found


def since(frozen: ChartBaseline | None, shots: list[CheckShot]) -> list[CheckShot]:
    """Those that the baseline was frozen from, and later ones; all of them without one."""
    if frozen is None:
        return shots
    last = frozen.last_shot
    before = sum((shot.at, shot.pk) <= (last.at, last.pk) for shot in shots)
    return shots[max(before - frozen.shots, 0) :]


def baselines_of(station: Station, digest: str, code: str) -> list[ChartBaseline]:
    """The newest ones, the one that counts first."""
    rows = ChartBaseline.objects.filter(station=station, content_digest=digest, code=code)
    return list(rows.select_related("by")[:BASELINES])


def baseline_of(frozen: ChartBaseline | None, values: Sequence[Decimal]) -> Baseline:
    """The frozen one, or a provisional one of the first shots. Raises BadValueError."""
    if frozen is None:
        return freeze_baseline(values[:FIRST])
    sigma = float(frozen.spread)
    return Baseline(float(frozen.centre), sigma, frozen.shots, sigma * charts.D2_OF_TWO)


def charts_of(station: Station, digest: str, code: str, rules: Sequence[RunRule]) -> Charts | None:
    """Judge the shots, from the first of a frozen baseline on: older ones were poured otherwise.

    None where there are too few, or none that differ.
    """
    frozen = frozen_baseline(station, digest, code)
    shots = since(frozen, shots_of(station, digest, code))
    values = [getattr(shot, code) for shot in shots]
    try:
        baseline = baseline_of(frozen, values)
        each = charts.individuals_chart(values, baseline)
    except BadValueError:
        return None
    ranges = charts.moving_range_chart(values, baseline) if len(values) > 1 else None
    ewma, sums = charts.ewma_chart(values, baseline), cusum(values, baseline)
    signals_at = _signals_at(values, baseline, rules, ewma, sums)
    return Charts(code, shots, values, baseline, frozen, each, ranges, ewma, sums, signals_at)


def cusum(values: Sequence[Decimal], baseline: Baseline) -> charts.Cusum:
    """The tabular CUSUM about the baseline's centre."""
    k, h = ALLOWANCE * baseline.sigma, DECISION * baseline.sigma
    return charts.cusum_chart(values, target=baseline.centre, allowance=k, decision=h)


def _signals_at(
    values: Sequence[Decimal],
    baseline: Baseline,
    rules: Sequence[RunRule],
    ewma: charts.Chart,
    sums: charts.Cusum,
) -> dict[int, list[Signal]]:
    """What signals at which shot, counted from 1."""
    found: dict[int, list[Signal]] = {}
    for one in find_signals(standardised(np.array(values, dtype=float), baseline), rules):
        found.setdefault(one.position, []).append(Signal(one.rule, MEANING[one.rule]))
    for at in ewma.signals:
        found.setdefault(at, []).append(Signal("EWMA", "beyond its limit"))
    for at in sums.signals:
        found.setdefault(at, []).append(Signal("CUSUM", "beyond its interval"))
    return found
