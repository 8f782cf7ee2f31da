"""Water units and the Langelier index against computed and published constants."""

from __future__ import annotations

import math
from functools import partial

import pytest

from stations.metrology.water import Method, activity_exponent, carbonate_constants, langelier
from stations.metrology.water_estimates import chloride_to_alkalinity, solids_from_conductivity
from stations.metrology.water_units import alkalinity, celsius, hardness, hardness_of

# A published worked example, inputs and answers read at corrosion-doctors.org ("Langelier Index
# Calculation"): water for animals at 25 °C and in a cage washer at 82 °C.
example = partial(langelier, ph=7.5, calcium_hardness=150, alkalinity=34, dissolved_solids=320)


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        (1, "mmol/L", "mg/L CaCO3", 100.086),
        (1, "mmol/L", "°dH", 5.6077),
        (1, "mmol/L", "°fH", 10.0086),
        (1, "°dH", "mg/L CaCO3", 17.8480),
        (1, "°dH", "mmol/L", 0.178326),
        (1, "°fH", "mg/L CaCO3", 10.0),
        (1, "°e", "mg/L CaCO3", 14.2538),
        (1, "gpg", "mg/L CaCO3", 17.1181),
    ],
)
def test_hardness_units(value: float, unit: str, to: str, expected: float) -> None:
    # Computed from standard atomic weights Ca 40.078, C 12.011, O 15.999 and the grain.
    assert hardness(value, unit, to) == pytest.approx(expected, rel=1e-5)


def test_alkalinity_units() -> None:
    # 1 meq/L = 50.043 mg/L CaCO3 = 61.016 mg/L HCO3, computed from atomic weights.
    assert alkalinity(1, "meq/L") == pytest.approx(50.043, abs=5e-4)
    assert alkalinity(1, "meq/L", "mg/L HCO3") == pytest.approx(61.016, abs=5e-4)
    assert alkalinity(1, "°dKH") == pytest.approx(17.848, abs=5e-4)


def test_hardness_from_ions() -> None:
    # Standard Methods 2340: 2.497 Ca + 4.118 Mg (as quoted); Ca 40, Mg 10 gives 141.070.
    assert hardness_of(1, 0) == pytest.approx(2.497, abs=5e-4)
    assert hardness_of(0, 1) == pytest.approx(4.118, abs=5e-4)
    assert hardness_of(40, 10) == pytest.approx(141.070, abs=5e-4)


def test_temperature_units() -> None:
    # Fixed points, exact by definition.
    assert celsius(212, "°F") == pytest.approx(100, abs=1e-9)
    assert celsius(373.15, "K") == pytest.approx(100, abs=1e-9)


@pytest.mark.parametrize(
    ("degrees", "saturation", "index"), [(25, 8.2312, -0.731), (82, 7.2339, 0.266)]
)
def test_closed_form(degrees: float, saturation: float, index: float) -> None:
    # pHs = (9.3 + A + B) - (C + D), computed by hand: A .1505, B 2.0883 or 1.0910, C 1.7761,
    # D 1.5315.
    found = example(temperature=degrees)
    assert found.saturation_ph == pytest.approx(saturation, abs=5e-4)
    assert found.value == pytest.approx(index, abs=5e-3)


@pytest.mark.parametrize(("degrees", "printed"), [(25, "-0.7"), (82, "+0.3")])
def test_the_published_example_as_it_is_printed(degrees: float, printed: str) -> None:
    # corrosion-doctors.org: "LSI = 7.5 - 8.2 = - 0.7" and "7.5 - 7.2 = + 0.3".
    assert f"{example(temperature=degrees).value:+.1f}" == printed


def test_the_example_read_as_conductivity_is_the_same() -> None:
    # 320 mg/L by the factor 0.64 of Standard Methods 2330 (solids / 40,000 is 1.6e-5 of
    # conductivity, from memory) are 500 µS/cm. The span of natural waters, 0.55 to 0.75, moves
    # the index by 0.01 either way.
    solids = solids_from_conductivity(500)
    assert solids.value == pytest.approx(320, abs=1e-9)
    assert solids.value / 40_000 == pytest.approx(1.6e-5 * 500, rel=1e-12)
    assert (solids.low, solids.high) == pytest.approx((275, 375), abs=1e-9)
    found = [
        langelier(
            ph=7.5, calcium_hardness=150, alkalinity=34, dissolved_solids=each, temperature=25
        ).value
        for each in (solids.low, solids.value, solids.high)
    ]
    assert max(found) - min(found) == pytest.approx(0.0135, abs=5e-4)


def test_chloride_in_equivalents() -> None:
    # Atomic weights: 35.45 mg/L of chloride and 50.043 mg/L CaCO3 are 1 meq/L each, and the
    # Larson-Skold index (equivalents, as read at corrosion-doctors.org) is at least their ratio.
    assert chloride_to_alkalinity(35.45, 50.043) == pytest.approx(1, abs=1e-4)
    assert chloride_to_alkalinity(70.9, 250.215) == pytest.approx(0.4, abs=1e-4)


def test_the_closed_form_counts_kelvin_from_273() -> None:
    # references 7.3: with 273.15 the index would move by 0.003; which one is used is a choice.
    ours, exact = example(temperature=25).saturation_ph, math.log10(25 + 273.15)
    moved = 13.12 * (exact - math.log10(25 + 273))
    assert moved == pytest.approx(0.003, abs=5e-4)
    by_hand = (9.3 + (math.log10(320) - 1) / 10 - 13.12 * math.log10(25 + 273) + 34.55) - (
        math.log10(150) - 0.4 + math.log10(34)
    )
    assert ours == pytest.approx(by_hand, abs=1e-12)


@pytest.mark.parametrize("method", list(Method))
def test_the_factor_table_of_pool_operators(method: Method) -> None:
    # references 7: total alkalinity 75, pH 7.6, calcium 300, 84 °F give +0.2 by factors printed to
    # one decimal (dissolved solids below 1,000): a third method, and as far off as TRUST says.
    found = langelier(
        ph=7.6, temperature=(84 - 32) / 1.8, calcium_hardness=300, alkalinity=75,
        dissolved_solids=800, method=method,
    )  # fmt: skip
    assert found.value == pytest.approx(0.2, abs=0.2)


def test_ryznar() -> None:
    # 2 pHs - pH = 8.9625, computed.
    assert example(temperature=25).ryznar == pytest.approx(8.9625, abs=5e-4)


@pytest.mark.parametrize(
    ("degrees", "second", "calcite"),
    [
        (5, 10.554, 8.394),
        (10, 10.488, 8.411),
        (20, 10.376, 8.453),
        (25, 10.329, 8.480),
        (60, 10.144, 8.759),
        (90, 10.135, 9.122),
    ],
)
def test_carbonate_constants(degrees: float, second: float, calcite: float) -> None:
    # Plummer & Busenberg 1982, equations from memory, computed; 25 °C as commonly tabulated.
    found = carbonate_constants(degrees)
    assert found[1:] == pytest.approx((second, calcite), abs=1e-3)


def test_first_constant_of_carbonic_acid() -> None:
    # Plummer & Busenberg 1982: pK1 6.352 at 25 °C.
    assert carbonate_constants(25)[0] == pytest.approx(6.352, abs=1e-3)


def test_standard_methods_form() -> None:
    # Standard Methods 2330: pfm .0407, pHs 8.045, SI -0.545 (computed; its own worked example
    # was not found). PHREEQC gives calcite SI -0.507 for the same water.
    found = example(temperature=25, method=Method.STANDARD_METHODS)
    assert activity_exponent(320, 25) == pytest.approx(0.0407, abs=5e-5)
    assert found.saturation_ph == pytest.approx(8.045, abs=5e-3)
    assert found.value == pytest.approx(-0.545, abs=5e-3)
    assert found.value == pytest.approx(-0.507, abs=0.05)


def test_the_two_methods_differ_by_about_a_fifth() -> None:
    closed = example(temperature=25).value
    thermodynamic = example(temperature=25, method=Method.STANDARD_METHODS).value
    assert thermodynamic - closed == pytest.approx(0.2, abs=0.03)
