"""How long charts run until they signal, by simulation of the product's own, beside published.

Shewhart with and without eight in a row: Champ and Woodall (1987), Technometrics 29, 393-399,
table 1, columns C1 and C14. EWMA: Lucas and Saccucci (1990), Technometrics 32, 1-12, table 3, and
the SAS/QC manual (1999). All as quoted in the manual pages of the R package spc (CRAN).
"""

import math
from collections.abc import Callable

import numpy as np
import pytest

from stations.metrology.charts import Baseline, Mask, ewma_chart
from stations.metrology.numbers import Floats
from stations.metrology.run_rules import RunRule, masks
from tests.services import rounds

KNOWN = Baseline(0.0, 1.0, 1000, 2.0 / math.sqrt(math.pi))
LONG = 12  # times the average: what is cut off there is less than the tolerance by far
Chart = Callable[[Floats], Mask]


def runs(chart: Chart, shift: float, expected: float) -> Floats:
    """Lengths of so many runs, each from a chart begun anew."""
    chance, many = np.random.default_rng(12), rounds(10_000, 1_000)
    longest = int(LONG * expected) + 20
    found = [np.flatnonzero(chart(chance.normal(shift, 1.0, longest))) for _ in range(many)]
    return np.array([float(at[0] + 1) if at.size else float(longest) for at in found])


def by_rules(*rules: RunRule) -> Chart:
    return lambda z: np.any(list(masks(z, rules).values()), axis=0)


def by_ewma(weight: float, width: float) -> Chart:
    return lambda z: ewma_chart(z, KNOWN, weight=weight, width=width).beyond


SHEWHART, EIGHT = by_rules(RunRule.W1), by_rules(RunRule.W1, RunRule.W4)
PUBLISHED = [
    (SHEWHART, 0.0, 370.40), (SHEWHART, 1.0, 43.89), (SHEWHART, 2.0, 6.30), (SHEWHART, 3.0, 2.00),
    (EIGHT, 0.0, 152.73), (EIGHT, 1.0, 14.58), (EIGHT, 2.0, 4.89), (EIGHT, 3.0, 1.99),
    (by_ewma(0.5, 3.071), 0.0, 500.0), (by_ewma(0.5, 3.071), 1.0, 17.5),
    (by_ewma(0.03, 2.437), 0.0, 500.0), (by_ewma(0.03, 2.437), 1.0, 12.6),
    (by_ewma(0.03, 2.437), 2.0, 5.99), (by_ewma(0.25, 3.0), 1.0, 11.154),
]  # fmt: skip


@pytest.mark.parametrize(("chart", "shift", "published"), PUBLISHED)
def test_average_run_length(chart: Chart, shift: float, published: float) -> None:
    found = runs(chart, shift, published)
    # Four standard errors of the simulation, and half a unit of the published value's last digit.
    error = 4.0 * float(found.std()) / math.sqrt(found.size) + 0.005 * min(published, 10.0)
    print(f"shift {shift}: {found.mean():.2f} of {found.size} runs, published {published}")
    assert float(found.mean()) == pytest.approx(published, abs=error)
