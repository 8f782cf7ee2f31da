"""What may be entered about equipment at all: hard limits, with their units."""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal

from stations.metrology.atmosphere import WEATHER, barometer_range, standard_pressure
from stations.metrology.scales import STORED, Scales
from web import units
from web.checks import Checks
from web.numbers import Bounds

ALTITUDE = Bounds(Decimal(-430), Decimal(6000), places=2, unit="m")
PULSES = Bounds(Decimal("0.001"), Decimal(1000), unit="pulses/mL")
OFFSET = Bounds(Decimal(-15), Decimal(15), places=3, unit="Cel{difference}")
AIR_PRESSURE = Bounds(Decimal(400), Decimal(1100), places=2, unit="hPa")
STATION_NUMBER = Bounds(Decimal(1), Decimal(99), places=0)
SLOT_COUNT = Bounds(Decimal(1), Decimal(32), places=0)

CODE = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
CODE_WORDS = "a code no other site has: small letters, digits and hyphens, up to 20 characters"


def check_code(checks: Checks, field: str, value: object) -> str:
    """A site's code as it stands in addresses."""
    code = str(value or "").strip()
    if len(code) > 20 or not CODE.fullmatch(code):
        checks.fault(field, value, CODE_WORDS)
    return code


def check_barometer(
    checks: Checks, field: str, pressure: Decimal | None, altitude: Decimal
) -> None:
    """A barometer shows the air of that altitude [m; pressure in hPa], not reduced to sea level."""
    if pressure is None or checks.problems:
        return
    low, high = barometer_range(altitude)
    if not low <= pressure <= high:
        checks.fault(
            field,
            f"{pressure:f} hPa",
            f"{math.ceil(low)} to {math.floor(high)} hPa at {altitude:f} m above sea level: the"
            f" standard atmosphere has {standard_pressure(altitude):.0f} there (ISO 2533), weather"
            f" moves it by {WEATHER:.0f} at most; what forecasts give is reduced to sea level",
        )


@dataclass(frozen=True, slots=True)
class Figure:
    """What is entered in a field, within which bounds, and what says it is odd."""

    field: str
    value: Decimal | None
    bounds: Bounds
    odd: Callable[[Decimal], str]


def ask_usual(checks: Checks, reason: str, *figures: Figure) -> None:
    """A figure that is not usual needs a reason."""
    if checks.problems or reason.strip():
        return
    for one in figures:
        if one.value is not None and (words := one.odd(one.value)):
            told = checks.refused(one.field, one.value, one.bounds).value
            checks.fault(one.field, told, f"another value, or this one with a reason. {words}")


def scales_here() -> Scales:
    """The units in which whoever reads this page is told of temperatures and weighed water."""
    scales, choice = STORED, units.chosen()
    if choice.typed_in(units.CELSIUS) == units.FAHRENHEIT:
        scales = replace(scales, degree="°F", per_celsius=1.8, zero=32.0)
    if choice.typed_in(units.GRAM) == units.OUNCE:
        scales = replace(scales, mass="oz", grams=float(units.OUNCE_GRAMS))
    return scales
