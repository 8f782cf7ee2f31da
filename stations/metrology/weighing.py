"""From grams on a scale to millilitres through the meter: density and air buoyancy."""

from __future__ import annotations

import math

from stations.metrology.fluid import KELVIN, STANDARD_PRESSURE, density
from stations.metrology.numbers import Real, number

WEIGHTS_DENSITY = 8000.0  # kg/m³, conventional density of calibration weights (OIML D 28)
USUAL_HUMIDITY = 50.0  # %


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
