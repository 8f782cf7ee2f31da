"""Air pressure at a site's altitude, and the temperature at which water boils there."""

from __future__ import annotations

from stations.metrology.errors import BadValueError
from stations.metrology.fluid import saturation_temperature
from stations.metrology.numbers import Real, number

SEA_LEVEL_PRESSURE = 1013.25  # hPa
SEA_LEVEL_TEMPERATURE = 288.15  # K
LAPSE_RATE = 0.0065  # K/m
EARTH_RADIUS = 6_356_766.0  # m, nominal, as ISO 2533 uses it
PRESSURE_EXPONENT = 9.80665 / (287.05287 * LAPSE_RATE)
LOWEST_ALTITUDE, HIGHEST_ALTITUDE = -2000.0, 11_000.0  # m, the troposphere of ISO 2533
# What weather moves a barometer by from the standard atmosphere; common practice, no source.
WEATHER = 60.0  # hPa
USUAL_WEATHER = 30.0  # hPa, but for storms; common practice, no source
LOWEST_BAROMETER, HIGHEST_BAROMETER = 220.0, 1300.0  # hPa


def geopotential_altitude(altitude: Real) -> float:
    """Return the geopotential altitude H [m] of a geometric altitude z [m].

    H = r z / (r + z), r = 6 356 766 m (ISO 2533:1975, clause 2.3). Raises BadValueError outside
    -2,000 to 11,000 m.
    """
    z = number("altitude", altitude, "m", low=LOWEST_ALTITUDE, high=HIGHEST_ALTITUDE)
    return EARTH_RADIUS * z / (EARTH_RADIUS + z)


def standard_pressure(altitude: Real) -> float:
    """Return the standard atmosphere's pressure [hPa, absolute] at a geometric altitude [m].

    p = p0 (1 - L H / T0)^(g / (R L)) with H the geopotential altitude (ISO 2533:1975). A real
    day differs by some 20 hPa either way; a barometer at the site is better where there is one.
    Raises BadValueError outside -2,000 to 11,000 m.
    """
    height = geopotential_altitude(altitude)
    ratio = 1.0 - LAPSE_RATE * height / SEA_LEVEL_TEMPERATURE
    return SEA_LEVEL_PRESSURE * float(ratio**PRESSURE_EXPONENT)


def barometer_range(altitude: Real) -> tuple[float, float]:
    """Return what a barometer may show at a geometric altitude [m]: from, to [hPa, absolute].

    The standard atmosphere (ISO 2533:1975) with `WEATHER` on both sides. A reading reduced to sea
    level, as forecasts give it, lies outside from some 550 m on. Raises BadValueError as
    `standard_pressure` does.
    """
    middle = standard_pressure(altitude)
    return middle - WEATHER, middle + WEATHER


def usual_barometer(pressure: Real, altitude: Real) -> str:
    """Return what is odd about a barometer's reading [hPa] at an altitude [m], or nothing.

    A reading reduced to sea level differs by more than is usual from some 250 m on. Raises
    BadValueError as `standard_pressure` and `site_pressure` do.
    """
    middle = standard_pressure(altitude)
    off = site_pressure(altitude, pressure) - middle
    if abs(off) <= USUAL_WEATHER:
        return ""
    return (
        f"The standard atmosphere has {middle:.0f} hPa there (ISO 2533). Usual is up to"
        f" {USUAL_WEATHER:.0f} hPa more or less (common practice, no source); what forecasts give"
        " is reduced to sea level."
    )


def site_pressure(altitude: Real | None = None, barometer: Real | None = None) -> float:
    """Return a site's air pressure [hPa, absolute]: the barometer's reading, else by altitude.

    ``barometer`` is the station pressure [hPa] as read at the site, not one reduced to sea
    level. Raises BadValueError if neither is given, or for a value out of range.
    """
    if barometer is not None:
        low, high = LOWEST_BAROMETER, HIGHEST_BAROMETER
        return number("barometer", barometer, "hPa", low=low, high=high)
    if altitude is None:
        raise BadValueError("altitude", None, "an altitude in m or a barometer reading in hPa")
    return standard_pressure(altitude)


def boiling_point(pressure: Real) -> float:
    """Return the temperature [°C] at which pure water boils at an absolute pressure [hPa].

    Saturation temperature by IAPWS R7-97(2012), equation 31 (`fluid.saturation_temperature`).
    Raises BadValueError outside 10 to 200,000 hPa.
    """
    hectopascals = number("pressure", pressure, "hPa", low=10.0, high=200_000.0)
    return saturation_temperature(hectopascals)


def local_boiling_point(altitude: Real | None = None, barometer: Real | None = None) -> float:
    """Return the boiling point [°C] at a site, by barometer [hPa] or else by altitude [m].

    Raises BadValueError as `site_pressure` does.
    """
    return boiling_point(site_pressure(altitude, barometer))


def boiling_margin(
    temperature: Real, altitude: Real | None = None, barometer: Real | None = None
) -> float:
    """Return how far [K] a water temperature [°C] stays below the site's boiling point.

    Negative above boiling: harmless while the group holds pressure, but such water flashes into
    steam at an open screen and an open-group reading can't show it. Raises BadValueError for a
    temperature outside 0 to 160 °C and as `site_pressure` does.
    """
    degrees = number("temperature", temperature, "°C", low=0.0, high=160.0)
    return local_boiling_point(altitude, barometer) - degrees
