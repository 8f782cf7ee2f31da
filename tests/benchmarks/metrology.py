"""Translation of 12,000 stations and charts of a million shots beside bare NumPy, in one run.

`rows()` gives one row per task: our rate, the rate of the same arithmetic in bare NumPy from the
same inputs to results of the same shape (``limit_rate``), and the rates of what one would
otherwise write (``peers``).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from typing import TypedDict

import numpy as np

from recipes.brewing.balances import Retentions, waters_for
from stations.metrology.charts import Baseline
from stations.metrology.columns import Thousandths
from stations.metrology.numbers import Floats
from stations.metrology.run_rules import NELSON, masks
from stations.metrology.translate import translate, translate_many
from tests.benchmarks import bare_numpy
from tests.benchmarks.chart_tasks import CHARTS
from tests.stations.metrology.bar import FORMULA, RULES, stations

STATIONS = 12_000
SHOTS = 1_000_000
ROUNDS = 9
WATER = "water_volume"
Task = Callable[[], object]


class Row(TypedDict):
    """One line of the benchmark table; rates per second."""

    name: str
    rate: float
    unit: str
    limit_rate: float
    peers: dict[str, float]


def rows() -> list[Row]:
    """Return the metrology rows of the benchmark table."""
    shots = np.random.default_rng(1).normal(36.0, 0.5, SHOTS)
    charts = [chart_row(name, shots) for name in CHARTS]
    return [translation_row(), own_water_row(), *charts, run_rules_row(shots)]


def translation_row() -> Row:
    """Return the row of one formula translated for 12,000 distinct stations."""
    fleet = stations(STATIONS)
    few = fleet[:1000]
    ours, bare = best(
        lambda: translate_many(FORMULA, RULES, fleet), lambda: bare_numpy.translate(fleet)
    )
    (loop,) = best(lambda: [translate(FORMULA, RULES, *station) for station in few])
    return Row(
        name="translate one recipe for 12,000 stations",
        rate=STATIONS / ours,
        unit="stations/s",
        limit_rate=STATIONS / bare,
        peers={"one station at a time, Decimal": len(few) / loop},
    )


def own_water_row() -> Row:
    """Return the row of a formula that leaves the water to 12,000 distinct stations."""
    fleet = stations(STATIONS)
    ratios = np.random.default_rng(1).normal(1.05, 0.08, STATIONS)
    whole = np.full(STATIONS, 9)
    learnt = Retentions(ratios, ratios, ratios, ratios, whole, whole, whole > 0)
    left = {**FORMULA, WATER: replace(FORMULA[WATER], target=None)}
    ours, bare = best(
        lambda: translate_many(
            left,
            RULES,
            fleet,
            own={WATER: Thousandths.of(waters_for(learnt, dose=18, beverage=36))},
        ),
        lambda: bare_numpy.translate(fleet, (36 + ratios * 18) / 0.9982),
    )
    return Row(
        name="translate a recipe that leaves the water to 12,000",
        rate=STATIONS / ours,
        unit="stations/s",
        limit_rate=STATIONS / bare,
        peers={},
    )


def chart_row(name: str, shots: Floats) -> Row:
    """Return one chart's row over a million shots."""
    ours, bare = CHARTS[name]
    baseline = Baseline(36.0, 0.5, 100, 0.564)
    mine, limit = best(lambda: ours(shots, baseline), lambda: bare(shots, baseline))
    return Row(
        name=f"{name} chart of 1,000,000 shots",
        rate=SHOTS / mine,
        unit="shots/s",
        limit_rate=SHOTS / limit,
        peers={},
    )


def run_rules_row(shots: Floats) -> Row:
    """Return the row of all eight Nelson rules over a million shots."""
    z = (shots - 36.0) / 0.5
    ours, bare = best(lambda: masks(z, NELSON), lambda: bare_numpy.nelson(z))
    return Row(
        name="eight Nelson rules over 1,000,000 shots",
        rate=SHOTS / ours,
        unit="shots/s",
        limit_rate=SHOTS / bare,
        peers={},
    )


def best(*tasks: Task) -> list[float]:
    """Return each task's best time [s] of several rounds, the tasks taking turns."""
    times: list[list[float]] = [[] for _ in tasks]
    for _ in range(ROUNDS + 1):
        for place, task in enumerate(tasks):
            start = time.perf_counter()
            task()
            times[place].append(time.perf_counter() - start)
    return [min(taken[1:]) for taken in times]


if __name__ == "__main__":
    for row in rows():
        ratio = row["limit_rate"] / row["rate"]
        print(f"{row['name']:<45} {row['rate']:>14,.0f} {row['unit']:<11} {ratio:5.2f} x limit")
