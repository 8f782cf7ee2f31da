"""Water at a site: conversions there and back, the index's direction, and comparing sites."""

from __future__ import annotations

from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stations.metrology.errors import BadValueError
from stations.metrology.water import TRUST, Method, WaterSample, compare, langelier, not_compared
from stations.metrology.water_units import (
    AlkalinityUnit,
    HardnessUnit,
    alkalinity,
    celsius,
    hardness,
)

amounts = st.floats(0.1, 1000)
index = partial(langelier, ph=7.5, calcium_hardness=150, alkalinity=80, dissolved_solids=250)


@given(amounts, st.sampled_from(HardnessUnit), st.sampled_from(HardnessUnit))
def test_hardness_there_and_back(value: float, one: HardnessUnit, other: HardnessUnit) -> None:
    assert hardness(hardness(value, one, other), other, one) == pytest.approx(value, rel=1e-12)


@given(amounts, st.sampled_from(AlkalinityUnit), st.sampled_from(AlkalinityUnit))
def test_alkalinity_there_and_back(value: float, one: str, other: str) -> None:
    assert alkalinity(alkalinity(value, one, other), other, one) == pytest.approx(value, rel=1e-12)


@given(st.floats(-50, 200))
def test_temperatures_agree(degrees: float) -> None:
    assert celsius(degrees + 273.15, "K") == pytest.approx(degrees, abs=1e-9)
    assert celsius(degrees * 1.8 + 32, "°F") == pytest.approx(degrees, abs=1e-9)


@pytest.mark.parametrize("method", list(Method))
def test_hotter_harder_and_more_alkaline_water_scales_more(method: Method) -> None:
    base = index(temperature=60, method=method).value
    assert index(temperature=90, method=method).value > base
    assert index(temperature=60, calcium_hardness=300, method=method).value > base
    assert index(temperature=60, alkalinity=160, method=method).value > base
    assert index(temperature=60, ph=8, method=method).value == pytest.approx(base + 0.5)


def test_the_number_comes_with_its_method_and_how_far_to_trust_it() -> None:
    found = index(temperature=120)
    assert found.extrapolated
    assert "beyond the measured range" in found.sentence
    assert "closed form: scale" in found.sentence
    assert TRUST in found.sentence
    assert not index(temperature=90).extrapolated


def test_hints() -> None:
    assert index(temperature=25, ph=6).hint == "corrosion"
    assert index(temperature=25, ph=7.9).hint == "near balance"


def test_sites_that_differ_much() -> None:
    soft, hard = WaterSample(7.0, 50, 40, 120), WaterSample(7.2, 200, 150, 320, 12)
    rows = {row.name: row.much for row in compare(soft, hard)}
    assert rows == {"pH": False, "hardness": True, "alkalinity": True, "dissolved solids": True}
    assert not any(row.much for row in compare(soft, WaterSample(7.1, 60, 45, 140)))
    assert compare(soft, WaterSample()) == []


def test_what_one_sample_lacks_is_named() -> None:
    full, gaps = WaterSample(7.0, 50, 40, 120, 12, 200, 5), WaterSample(7.0, None, 40)
    lacking = ["hardness", "dissolved solids", "temperature", "conductivity", "chloride"]
    assert not_compared(full, gaps) == lacking
    assert not_compared(gaps, full) == []


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"ph": 15}, "ph"),
        ({"temperature": -1}, "temperature"),
        ({"calcium_hardness": 0}, "calcium_hardness"),
        ({"alkalinity": float("nan")}, "alkalinity"),
        ({"dissolved_solids": None}, "dissolved_solids"),
        ({"method": "guess"}, "method"),
    ],
)
def test_bad_input_is_named(change: dict[str, float], field: str) -> None:
    with pytest.raises(BadValueError) as caught:
        index(**{"temperature": 90, **change})  # type: ignore[arg-type]
    assert caught.value.field == field


def test_unknown_units_are_named() -> None:
    with pytest.raises(BadValueError, match=r"hardness unit.*°dH"):
        hardness(1, "grams")
    with pytest.raises(BadValueError, match="alkalinity unit"):
        alkalinity(1, "mg/L CaCO3", "pH")
    with pytest.raises(BadValueError, match="unit"):
        celsius(1, "°R")
