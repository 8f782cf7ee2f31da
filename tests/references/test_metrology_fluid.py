"""Water's density, viscosity and boiling against IAPWS releases and CoolProp."""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI
from scipy import optimize

from stations.metrology.fluid import density, saturation_temperature, viscosity

KELVIN = 273.15


def test_region_1_verification_value() -> None:
    # IAPWS R7-97(2012) table 5: T = 300 K, p = 3 MPa, v = 0.100215168e-2 m³/kg.
    assert 1 / density(300 - KELVIN, 30_000) == pytest.approx(0.100215168e-2, rel=1e-8)


@pytest.mark.parametrize(("kelvin", "megapascals"), [(300.0, 0.353658941e-2), (600.0, 12.3443146)])
def test_saturation_pressure_read_backwards(kelvin: float, megapascals: float) -> None:
    # IAPWS R7-97(2012) table 35, figures from memory, computed with iapws 1.5.5: region 4 is one
    # equation in both directions, so the temperature comes back to the table's own digits.
    assert saturation_temperature(megapascals * 1e4) + KELVIN == pytest.approx(kelvin, abs=2e-6)


@pytest.mark.parametrize("celsius", [0.5, 20, 55, 93, 130, 199])
@pytest.mark.parametrize("hectopascals", [16_000, 50_000, 200_000])
def test_density_is_if97_of_coolprop(celsius: float, hectopascals: float) -> None:
    # CoolProp's own reading of IAPWS R7-97(2012), region 1.
    other = PropsSI("D", "T", celsius + KELVIN, "P", hectopascals * 100, "IF97::Water")
    assert density(celsius, hectopascals) == pytest.approx(other, rel=1e-9)


@pytest.mark.parametrize(
    ("megapascals", "kelvin"), [(0.1, 372.755919), (1.0, 453.035632), (10.0, 584.149488)]
)
def test_saturation_verification_values(megapascals: float, kelvin: float) -> None:
    # IAPWS R7-97(2012) table 36; published figures from memory, computed with iapws 1.5.5.
    assert saturation_temperature(megapascals * 1e4) + KELVIN == pytest.approx(kelvin, abs=1e-6)


@pytest.mark.parametrize(
    ("celsius", "iapws95", "if97"),
    [
        (4, 999.9749, 999.9754),
        (15, 999.1026, 999.1011),
        (20, 998.2072, 998.2061),
        (25, 997.0476, 997.0480),
        (40, 992.2164, 992.2243),
        (60, 983.1958, 983.2106),
        (80, 971.7904, 971.8029),
        (88, 966.6449, 966.6547),
        (90, 965.3096, 965.3187),
        (93, 963.2708, 963.2787),
        (95, 961.8879, 961.8951),
    ],
)
def test_density_at_one_atmosphere(celsius: float, iapws95: float, if97: float) -> None:
    # Computed with iapws 1.5.5 and CoolProp 8.0.0; IF97 differs from IAPWS-95 by up to 0.015.
    assert density(celsius) == pytest.approx(if97, abs=1e-3)
    assert density(celsius) == pytest.approx(iapws95, abs=0.02)
    other = PropsSI("D", "T", celsius + KELVIN, "P", 101_325, "HEOS::Water")
    assert density(celsius) == pytest.approx(other, abs=0.02)


@pytest.mark.parametrize(
    ("celsius", "expected"), [(15, 999.10257), (20, 998.20675), (25, 997.04702)]
)
def test_density_against_the_cipm_formula(celsius: float, expected: float) -> None:
    # Tanaka et al. 2001 (CIPM), formula from memory; agrees with IAPWS-95 within 0.0012.
    cipm = 999.974950 * (
        1 - (celsius - 3.983035) ** 2 * (celsius + 301.797) / (522528.9 * (celsius + 69.34881))
    )
    assert cipm == pytest.approx(expected, abs=1e-5)
    assert density(celsius) == pytest.approx(cipm, abs=0.003)


@pytest.mark.parametrize(
    ("hectopascals", "rho", "mu"), [(9000, 963.6458, 0.30394), (10_013.25, 963.6923, 0.30397)]
)
def test_brewing_water_tells_absolute_from_gauge(
    hectopascals: float, rho: float, mu: float
) -> None:
    # 93 °C at 9 bar absolute and at 9 bar gauge; computed with iapws and CoolProp.
    assert density(93, hectopascals) == pytest.approx(rho, abs=1e-3)
    assert viscosity(93, hectopascals) == pytest.approx(mu, abs=2e-5)
    state = ("T", 93 + KELVIN, "P", hectopascals * 100, "HEOS::Water")
    assert density(93, hectopascals) == pytest.approx(PropsSI("D", *state), abs=0.02)
    assert viscosity(93, hectopascals) == pytest.approx(PropsSI("V", *state) * 1000, abs=1e-5)


@pytest.mark.parametrize(
    ("celsius", "expected"),
    [(20, 1.00160), (25, 0.89002), (90, 0.31418), (93, 0.30372), (95, 0.29709)],
)
def test_viscosity_at_one_atmosphere(celsius: float, expected: float) -> None:
    # IAPWS R12-08; computed with iapws 1.5.5, the same by CoolProp to 1e-5.
    assert viscosity(celsius) == pytest.approx(expected, abs=5e-5)
    other = PropsSI("V", "T", celsius + KELVIN, "P", 101_325, "HEOS::Water") * 1000
    assert viscosity(celsius) == pytest.approx(other, abs=1e-5)


def test_viscosity_verification_value() -> None:
    # IAPWS R12-08 table 4: T = 298.15 K, density 998 kg/m³, 889.735100 µPa·s; jjgomera/iapws
    # test.py @18d2c48. The pressure at which water has that density is looked for.
    pressure = optimize.brentq(lambda p: density(25, p) - 998, 1000, 100_000, xtol=1e-9)
    assert viscosity(25, pressure) * 1000 == pytest.approx(889.735100, abs=1e-6)


@pytest.mark.parametrize(
    ("bar", "expected"),
    [
        (1.01325, 99.9743),
        (1.0, 99.6059),
        (0.9, 96.6870),
        (0.8, 93.4854),
        (1.2, 104.7838),
        (1.5, 111.3500),
        (2.0, 120.2115),
        (9.0, 175.3578),
    ],
)
def test_boiling_by_pressure(bar: float, expected: float) -> None:
    # Computed with IF97; CoolProp's IAPWS-95 within 0.002 (0.01 above 5 bar).
    assert saturation_temperature(bar * 1000) == pytest.approx(expected, abs=2e-4)
    other = PropsSI("T", "P", bar * 1e5, "Q", 0, "HEOS::Water") - KELVIN
    assert saturation_temperature(bar * 1000) == pytest.approx(other, abs=0.01)


def test_cold_metered_water_expands_when_hot() -> None:
    # rho(20 °C, 10 bar) / rho(93 °C, 10 bar) = 1.03625, computed with CoolProp HEOS.
    assert density(20, 10_000) / density(93, 10_000) == pytest.approx(1.03625, abs=1e-4)
    # 50.00 g are 50.069 mL at the meter and 51.884 mL hot (references 1.12).
    assert 50_000 / density(20, 10_000) == pytest.approx(50.069, abs=5e-4)
    assert 50_000 / density(93, 10_000) == pytest.approx(51.884, abs=1e-3)
