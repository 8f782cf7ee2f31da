"""Water's density, viscosity and saturation temperature by IAPWS, and its volume when weighed.

The ``iapws`` package carries the mathematics. It is imported at first use: it takes more than
a second, and most commands of the program never need it.
"""

from __future__ import annotations

import math
from functools import lru_cache

from stations.metrology.errors import BadValueError
from stations.metrology.numbers import Real, number

KELVIN = 273.15
STANDARD_PRESSURE = 1013.25  # hPa, absolute
HECTOPASCALS_PER_MEGAPASCAL = 10_000.0
WEIGHTS_DENSITY = 8000.0  # kg/m³, conventional density of calibration weights (OIML D 28)
USUAL_HUMIDITY = 50.0  # %
LOWEST_PRESSURE, HIGHEST_PRESSURE = 10.0, 200_000.0  # hPa


def saturation_temperature(pressure: Real) -> float:
    """Return the temperature [°C] at which water boils at an absolute pressure [hPa].

    IAPWS R7-97(2012), region 4, equation 31. Raises BadValueError outside 10 to 200,000 hPa.
    """
    # Equation 31 itself: the package's own class for a whole state is 2,000 times slower.
    from iapws.iapws97 import _TSat_P  # noqa: PLC0415

    return float(_TSat_P(_megapascals(pressure))) - KELVIN


def density(temperature: Real, pressure: Real = STANDARD_PRESSURE) -> float:
    """Return the density of liquid water [kg/m³ = g/L] at °C and an absolute pressure [hPa].

    IAPWS R7-97(2012), region 1: within 0.015 kg/m³ of IAPWS-95 between 0 and 100 °C. Raises
    BadValueError below 0 °C, above boiling, or outside 10 to 200,000 hPa.
    """
    return _liquid(*_state(temperature, pressure))[0]


def viscosity(temperature: Real, pressure: Real = STANDARD_PRESSURE) -> float:
    """Return the dynamic viscosity of liquid water [mPa·s] at °C and absolute pressure [hPa].

    IAPWS R12-08. Raises BadValueError as `density` does.
    """
    return _liquid(*_state(temperature, pressure))[1]


def _state(temperature: Real, pressure: Real) -> tuple[float, float]:
    """Return (K, MPa) of a liquid state; BadValueError if water isn't liquid there."""
    megapascals = _megapascals(pressure)
    boiling = saturation_temperature(pressure)
    degrees = number("temperature", temperature, "°C", low=0.0, high=200.0)
    if degrees >= boiling:
        raise BadValueError("temperature", temperature, f"below boiling, {boiling:.2f} °C")
    return degrees + KELVIN, megapascals


def _megapascals(pressure: Real) -> float:
    """Return a pressure [hPa] in MPa; BadValueError outside the range."""
    hectopascals = number("pressure", pressure, "hPa", low=LOWEST_PRESSURE, high=HIGHEST_PRESSURE)
    return hectopascals / HECTOPASCALS_PER_MEGAPASCAL


@lru_cache(maxsize=4096)
def _liquid(kelvin: float, megapascals: float) -> tuple[float, float]:
    """Return (kg/m³, mPa·s) of liquid water."""
    from iapws import IAPWS97  # noqa: PLC0415

    state = IAPWS97(T=kelvin, P=megapascals)
    return float(state.rho), float(state.mu) * 1000.0


# From grams on a scale to millilitres through the meter: density and air buoyancy.


def air_density(
    temperature: Real, pressure: Real = STANDARD_PRESSURE, humidity: Real = USUAL_HUMIDITY
) -> float:
    """Return the density of air [kg/m³] at °C, hPa and % relative humidity.

    rho = (0.34848 p - 0.009024 h e^(0.0612 t)) / (273.15 + t), the simplified CIPM formula (OIML
    R 111-1, E.3). Raises BadValueError outside 0 to 50 °C, 300 to 1,100 hPa, 0 to 100 %.
    """
    t = number("temperature", temperature, "°C", low=0.0, high=50.0)
    p = number("pressure", pressure, "hPa", low=300.0, high=1100.0)
    h = number("humidity", humidity, "%", low=0.0, high=100.0)
    return (0.34848 * p - 0.009024 * h * math.exp(0.0612 * t)) / (KELVIN + t)


def volume_of(
    grams: Real,
    temperature: Real,
    *,
    pressure: Real = STANDARD_PRESSURE,
    air_temperature: Real = 20.0,
) -> float:
    """Return the volume [mL] of water at °C that a scale shows as ``grams`` in air.

    V = m (1 - rho_a/8000) / (rho_w - rho_a), rho_w by IAPWS R7-97 (the Z factor of ISO 8655-6).
    Buoyancy is 0.105 % of the mass at sea level: kept, since it shifts every run the same way.
    Raises BadValueError for a negative mass and as `density` and `air_density` do.
    """
    mass = number("grams", grams, "g", low=0.0, high=100_000.0)
    water = density(temperature, pressure)
    air = air_density(air_temperature, pressure)
    return mass * 1000.0 * (1.0 - air / WEIGHTS_DENSITY) / (water - air)


def buoyancy_share(temperature: Real, pressure: Real = STANDARD_PRESSURE) -> float:
    """Return by what fraction air buoyancy raises the volume of water weighed in air.

    Raises BadValueError as `volume_of` does.
    """
    without = 1000.0 / density(temperature, pressure)
    return volume_of(1.0, temperature, pressure=pressure) / without - 1.0
