"""Pressure and boiling by altitude against ISO 2533 and independent atmosphere libraries."""

from __future__ import annotations

import pytest
from ambiance import Atmosphere
from CoolProp.CoolProp import PropsSI
from fluids.atmosphere import ATMOSPHERE_1976

from stations.metrology.atmosphere import (
    WEATHER,
    barometer_range,
    boiling_margin,
    geopotential_altitude,
    local_boiling_point,
    standard_pressure,
    usual_barometer,
)
from tests.references.metrology_data import rows

KELVIN = 273.15
TABLE = rows("iso2533_table5_troposphere.csv")


def geometric(geopotential: float) -> float:
    """Return the geometric altitude [m] of a geopotential one: ISO 2533, r = 6,356,766 m."""
    return geopotential * 6_356_766 / (6_356_766 - geopotential)


@pytest.mark.parametrize(
    ("metres", "pascals"),
    [(500, 95461.3), (1000, 89876.3), (1609, 83435.3), (2240, 77162.3), (2640, 73388.3)],
)
def test_pressure_by_geometric_altitude(metres: float, pascals: float) -> None:
    # ISO 2533 formula; computed with ambiance 1.3.1.
    assert standard_pressure(metres) * 100 == pytest.approx(pascals, abs=0.1)


@pytest.mark.parametrize("metres", [-400, 0, 123.4, 1609, 2640, 5000])
def test_pressure_agrees_with_two_libraries(metres: float) -> None:
    pascals = standard_pressure(metres) * 100
    # Below sea level ambiance starts from a rounded base pressure at -5 km.
    assert pascals == pytest.approx(float(Atmosphere(metres).pressure[0]), abs=0.05)
    # The US Standard Atmosphere 1976 has a slightly different gas constant.
    assert pascals == pytest.approx(ATMOSPHERE_1976(metres).P, abs=0.05)


@pytest.mark.parametrize("kind", ["geometric", "geopotential"])
def test_every_printed_row_of_iso_2533(kind: str) -> None:
    # ISO 2533:1975 table 5, both halves, as carried by metanorma/atmospheric @24b8f98, to the
    # last printed digit.
    table = [row for row in TABLE if row["table"] == f"by-{kind}-altitude"]
    assert len(table) == 91
    for row in table:
        printed, metres = row["pressure_hPa"], float(row[f"{kind}_altitude_m"])
        tolerance = 0.6 * 10.0 ** -len(printed.partition(".")[2])
        ours = standard_pressure(metres if kind == "geometric" else geometric(metres))
        assert ours == pytest.approx(float(printed), abs=tolerance), row


@pytest.mark.parametrize(
    ("metres", "hectopascals"),
    [(500, 954.613), (1600, 835.277), (2000, 795.014), (2250, 770.661), (2600, 737.588)],
)
def test_printed_pressures(metres: float, hectopascals: float) -> None:
    # ISO 2533:1975 table 5, by geometric altitude.
    assert standard_pressure(metres) == pytest.approx(hectopascals, abs=0.0006)


@pytest.mark.parametrize(
    ("metres", "pascals"),
    [(500, 95460.8), (1000, 89874.6), (1609, 83431.1), (2240, 77154.7), (2640, 73378.1)],
)
def test_geometric_altitude_is_not_geopotential(metres: float, pascals: float) -> None:
    # ISO 2533 by geopotential altitude, computed with ambiance 1.3.1: 2,240 m is 77,154.7 Pa,
    # not the 77,162.3 Pa of 2,240 m by the tape.
    assert geopotential_altitude(geometric(metres)) == pytest.approx(metres, abs=1e-9)
    assert standard_pressure(geometric(metres)) * 100 == pytest.approx(pascals, abs=0.1)


@pytest.mark.parametrize(
    ("metres", "celsius"),
    [
        (0, 99.9743),
        (500, 98.3126),
        (1000, 96.6493),
        (1609, 94.6209),
        (2240, 92.5163),
        (2640, 91.1805),
    ],
)
def test_boiling_by_altitude(metres: float, celsius: float) -> None:
    # Standard atmosphere and IF97; no published table was found.
    assert local_boiling_point(metres) == pytest.approx(celsius, abs=2e-4)
    # Second witness from end to end: ambiance's pressure, CoolProp's IAPWS-95.
    pascals = float(Atmosphere(metres).pressure[0])
    other = PropsSI("T", "P", pascals, "Q", 0, "HEOS::Water") - KELVIN
    assert local_boiling_point(metres) == pytest.approx(other, abs=2e-3)


@pytest.mark.parametrize("metres", [2240, 2640])
def test_93_degrees_is_above_boiling_in_the_mountains(metres: float) -> None:
    assert boiling_margin(93, metres) < 0 < boiling_margin(93, 1609)


@pytest.mark.parametrize("metres", [0, 2250])
def test_what_a_barometer_may_show(metres: float) -> None:
    # ISO 2533 as above; the allowance for weather is common practice, without a source.
    low, high = barometer_range(metres)
    assert (low + high) / 2 == pytest.approx(standard_pressure(metres))
    assert high - low == pytest.approx(2 * WEATHER)
    assert (low <= 1013.25 <= high) == (metres == 0)


@pytest.mark.parametrize(("pressure", "metres", "usual"), [
    (1013.25, 0, True), (1013.25, 230, True), (1013.25, 300, False), (985, 0, True),
    (980, 0, False), (771.9, 2240, True),
])  # fmt: skip
def test_which_readings_a_barometer_seldom_shows(
    pressure: float, metres: float, usual: bool
) -> None:
    assert (usual_barometer(pressure, metres) == "") == usual
