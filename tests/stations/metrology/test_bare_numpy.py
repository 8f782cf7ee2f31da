"""The benchmark's bare NumPy does the same arithmetic: same settings, same charts, same rules."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from stations.metrology.charts import Baseline, cusum_chart, ewma_chart
from stations.metrology.run_rules import NELSON, masks
from stations.metrology.translate import translate_many
from tests.benchmarks import bare_numpy, chart_tasks
from tests.stations.metrology.bar import FORMULA, RULES, stations

SHOTS = np.random.default_rng(4).normal(36.0, 0.5, 5000)
BASE = Baseline(36.0, 0.5, 100, 0.564)


def test_settings_but_for_ties() -> None:
    fleet = stations(1200)
    found = translate_many(FORMULA, RULES, fleet)
    tied = 0
    for (_, traits), ours, bare in zip(fleet, found, bare_numpy.translate(fleet), strict=True):
        settings = {code: setting.value for code, setting in ours.settings.items()}
        exact = (93 - (traits.temperature_offset or 0)) * 10
        if exact % 1 == Decimal("0.5"):
            # Here floats fall to either side; exact decimals don't.
            tied += 1
            assert settings.pop("brew_temperature") == (exact + Decimal("0.5")) / 10
            bare.pop("brew_temperature")
        assert settings == bare
    assert 0 < tied < 600


def test_charts() -> None:
    smooth, beyond = chart_tasks.bare_ewma(SHOTS, BASE)
    chart = ewma_chart(SHOTS, BASE)
    assert chart.plotted == pytest.approx(smooth)
    assert (chart.beyond == beyond).all()
    (high, low), beyond = chart_tasks.bare_cusum(SHOTS, BASE)
    cusum = cusum_chart(SHOTS, target=36, allowance=0.25, decision=2.5)
    assert cusum.high == pytest.approx(high)
    assert cusum.low == pytest.approx(low)
    assert (cusum.beyond == beyond).all()


def test_run_rules() -> None:
    z = (SHOTS - 36.0) / 0.5
    for ours, bare in zip(masks(z, NELSON).values(), bare_numpy.nelson(z), strict=True):
        # Sliding windows start late: the points before the first whole window are never met.
        assert (ours[z.size - bare.size :] == bare).all()
        assert not ours[: z.size - bare.size].any()
