"""A station's check shots under one content, and those it carries over from, by control charts."""

from bisect import bisect
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

import numpy as np

from stations.charts.lineage import SHOWN, Lineage, earlier_at, lineage_of
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
    lineage: Lineage
    gaps: Collection[int] = ()  # positions of shots before which one was left out

    @property
    def range_places(self) -> list[int]:
        """The positions of the shots that the chart of moving ranges has a point for."""
        return charts.range_places(len(self.values), self.gaps)

    @property
    def changes_at(self) -> list[int]:
        """Positions of shots under another content than the one before: carried over ones."""
        digests = [shot.placement.settings.content_digest for shot in self.shots]
        return [at for at in range(2, len(digests) + 1) if digests[at - 1] != digests[at - 2]]

    @property
    def signalling(self) -> int:
        """How many shots signal."""
        return len(self.signals_at)

    @property
    def lines(self) -> list[ChartedShot]:
        """Shot by shot, newest first."""
        plotted = () if self.ranges is None else self.ranges.plotted
        steps = dict(zip(self.range_places, plotted, strict=False))
        return [self._line(at, steps.get(at + 1)) for at in reversed(range(len(self.shots)))]

    def _line(self, at: int, step: float | None) -> ChartedShot:
        return ChartedShot(
            self.shots[at],
            self.values[at],
            None if step is None else rounded(step, PLACES),
            ewma=rounded(self.ewma.plotted[at], PLACES),
            above=rounded(self.cusum.high[at], PLACES),
            below=rounded(self.cusum.low[at], PLACES),
            signals=self.signals_at.get(at + 1, ()),
        )


def lineage_at(
    station: Station, digest: str, code: str, brewed: Collection[str] | None = None
) -> Lineage:
    """The contents whose shots there make one chart: its own, and those it carries over from."""
    return lineage_of(digest, earlier_at(station, digest, brewed), code)


def shots_of(
    station: Station, digest: str, code: str, lineage: Lineage | None = None
) -> list[CheckShot]:
    """The newest counted shots with that value, oldest first, carried over ones among them."""
    known = lineage or lineage_at(station, digest, code)
    rows = CheckShot.objects.counted()
    if ended := baselines_end(station):
        rows = rows.filter(at__gt=ended)
    rows = rows.exclude(**{code: None}).select_related("placement__settings", "by")
    return list(reversed(rows.newest_under(known.digests, station.pk, SHOWN)))


def frozen_baseline(
    station: Station, digest: str, code: str, lineage: Lineage | None = None
) -> ChartBaseline | None:
    """The one that counts, unless what pours was replaced since: its content's own newest.

    Where it has none, the newest of those it carries over from.
    """
    known = lineage or lineage_at(station, digest, code)
    return counting(baselines_of(station, code, known), digest, baselines_end(station))


def counting(
    baselines: Sequence[ChartBaseline], digest: str, ended: datetime | None
) -> ChartBaseline | None:
    """Of one chart's baselines, the newest first, the one that counts."""
    standing = [one for one in baselines if ended is None or one.at > ended]
    own = [one for one in standing if one.content_digest == digest]
    return next(iter(own or standing), None)


def since(frozen: ChartBaseline | None, shots: list[CheckShot]) -> list[CheckShot]:
    """Those that the baseline was frozen from, and later ones; all of them without one."""
    if frozen is None:
        return shots
    last = frozen.last_shot
    before = sum((shot.at, shot.pk) <= (last.at, last.pk) for shot in shots)
    return shots[max(before - frozen.shots, 0) :]


def baselines_of(station: Station, code: str, lineage: Lineage) -> list[ChartBaseline]:
    """The newest ones, own and carried over, the newest first."""
    rows = ChartBaseline.objects.filter(
        station=station, content_digest__in=lineage.digests, code=code
    )
    return list(rows.select_related("by", "last_shot")[:BASELINES])


def baseline_of(
    frozen: ChartBaseline | None, values: Sequence[Decimal], gaps: Collection[int] = ()
) -> Baseline:
    """The frozen one, or a provisional one of the first shots. Raises BadValueError."""
    if frozen is None:
        return freeze_baseline(values[:FIRST], gaps)
    sigma = float(frozen.spread)
    return Baseline(float(frozen.centre), sigma, frozen.shots, sigma * charts.D2_OF_TWO)


def charts_of(
    station: Station,
    digest: str,
    code: str,
    rules: Sequence[RunRule],
    lineage: Lineage | None = None,
) -> Charts | None:
    """Judge the shots, from the first of a frozen baseline on: older ones were poured otherwise.

    None where there are too few, or none that differ.
    """
    known = lineage or lineage_at(station, digest, code)
    frozen = frozen_baseline(station, digest, code, known)
    shots = since(frozen, shots_of(station, digest, code, known))
    values, gaps = [getattr(shot, code) for shot in shots], gaps_among(station, shots, code, known)
    try:
        baseline = baseline_of(frozen, values, gaps)
        each = charts.individuals_chart(values, baseline)
    except BadValueError:
        return None
    follow = charts.range_places(len(values), gaps)
    ranges = charts.moving_range_chart(values, baseline, gaps) if follow else None
    ewma, sums = charts.ewma_chart(values, baseline), cusum(values, baseline)
    signals_at = _signals_at(values, baseline, rules, ewma, sums)
    return Charts(
        code, shots, values, baseline, frozen, each, ranges, ewma, sums, signals_at, known, gaps
    )


def gaps_among(
    station: Station, shots: Sequence[CheckShot], code: str, lineage: Lineage
) -> frozenset[int]:
    """The positions (from 1) of shots between which and the one before another was left out."""
    if not shots:
        return frozenset()
    rows = CheckShot.objects.of_contents(lineage.digests).filter(
        slot__station=station, left_out=True, at__range=(shots[0].at, shots[-1].at)
    )
    left = rows.exclude(**{code: None}).order_by().values_list("at", "pk")
    placed = [(shot.at, shot.pk) for shot in shots]
    return frozenset(bisect(placed, one) + 1 for one in left) - {1, len(shots) + 1}


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
