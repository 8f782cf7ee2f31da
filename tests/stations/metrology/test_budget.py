"""The volume budget, and that it and the translation judge alike."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stations.metrology.abilities import StationTraits
from stations.metrology.budget import volume_budget, volume_expanded
from stations.metrology.offset import Reading, measure_offset
from stations.metrology.translate import translate
from tests.stations.metrology.bar import MACHINE, RULES, line

D = Decimal
slopes = st.decimals("1", "12", places=4)
volumes = st.decimals("20", "70", places=1)
spreads = st.decimals("0", "0.5", places=3)


def test_lines_of_an_ordinary_double() -> None:
    budget = volume_budget(D(70), D("4.02"), slope_uncertainty=D("0.012"), repeatability=D("0.25"))
    assert [line.name for line in budget.lines] == ["slope", "repeatability", "quantisation"]
    # By hand: 70 * 0.012/4.02 = 0.209; 0.25; 1/4.02/√12 = 0.0718.
    found = [line.standard_uncertainty for line in budget.lines]
    assert found == pytest.approx([0.20896, 0.25, 0.07181], abs=1e-5)
    assert budget.pulses == 281
    assert budget.deviation == pytest.approx(281 / 4.02 - 70)
    assert sum(line.share for line in budget.lines) == pytest.approx(1.0)


@given(volumes, slopes, spreads, spreads)
def test_budget_and_translation_agree(
    volume: Decimal, slope: Decimal, spread: Decimal, repeat: Decimal
) -> None:
    traits = StationTraits(slope, slope_uncertainty=spread, repeatability=repeat)
    budget = volume_budget(volume, slope, slope_uncertainty=spread, repeatability=repeat)
    assert budget.expanded == pytest.approx(float(volume_expanded(volume, traits)), rel=1e-12)
    found = translate(dict([line("water_volume", str(volume), "1")]), RULES, MACHINE, traits)
    if found.placeable:
        assert found.settings["water_volume"].value == budget.pulses
    if budget.pulses <= 900:
        assert found.placeable == budget.fits(1, 1)


@given(volumes, slopes, spreads, spreads)
def test_litres_and_millilitres_agree(
    volume: Decimal, slope: Decimal, spread: Decimal, repeat: Decimal
) -> None:
    small = volume_budget(volume, slope, slope_uncertainty=spread, repeatability=repeat)
    large = volume_budget(
        volume / 1000, slope * 1000, slope_uncertainty=spread * 1000, repeatability=repeat / 1000
    )
    assert large.pulses == small.pulses
    assert large.expanded * 1000 == pytest.approx(small.expanded, rel=1e-9)


@given(volumes, slopes, spreads, spreads)
def test_more_spread_never_narrows_the_budget(
    volume: Decimal, slope: Decimal, spread: Decimal, repeat: Decimal
) -> None:
    narrow = volume_budget(volume, slope, slope_uncertainty=spread, repeatability=repeat)
    wide = volume_budget(volume, slope, slope_uncertainty=spread * 2, repeatability=repeat)
    assert wide.combined >= narrow.combined > 0


def test_offset_of_five_readings() -> None:
    pairs = [(92.0, 92.6), (92.0, 92.4), (93.0, 93.5), (93.0, 93.7), (94.0, 94.3)]
    found = measure_offset([Reading(*pair) for pair in pairs], thermometer_uncertainty=0.1)
    # By hand: differences .6 .4 .5 .7 .3, mean .5, s 0.15811, s/√5 0.070711.
    assert found.value == pytest.approx(0.5)
    assert found.spread == pytest.approx(0.158114, abs=1e-6)
    assert found.uncertainty == pytest.approx((0.070711**2 + 0.01) ** 0.5, abs=1e-6)
    assert found.dof == 4
    assert found.stored() == (D("0.500"), D("0.122"))


@given(st.floats(-5, 5), st.lists(st.floats(85, 97), min_size=2, max_size=8))
def test_a_constant_offset_is_found_without_spread(offset: float, shown: list[float]) -> None:
    found = measure_offset([Reading(degrees, degrees + offset) for degrees in shown])
    assert found.value == pytest.approx(offset, abs=1e-9)
    assert found.uncertainty == pytest.approx(0.0, abs=1e-9)
