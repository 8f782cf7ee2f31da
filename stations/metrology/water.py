"""A site's water as a hint of scale or corrosion: the Langelier index, by two named methods.

An index says which way calcium carbonate leans at one temperature. It says nothing of rates, of
chloride, or of a softener's or filter's state, and two methods differ by 0.2 on the same water.
It is a reason to ask a professional, never a treatment plan.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from enum import StrEnum

from stations.metrology.errors import BadValueError
from stations.metrology.numbers import Real, number
from stations.metrology.water_units import CALCIUM_CARBONATE, KELVIN

TRUST = (
    "A hint only: accepted methods differ by 0.2 on the same water, none knows of chloride, "
    "filters or flow, and water treatment is a professional's work."
)
HOTTEST_PUBLISHED = 90.0  # °C, the upper end of Plummer & Busenberg's measurements
BALANCED = 0.5  # common practice, no source


class Method(StrEnum):
    """How the saturation pH is found; the value is the name to show with the number."""

    CLOSED_FORM = "closed form"
    STANDARD_METHODS = "Standard Methods 2330"


@dataclass(frozen=True, slots=True)
class Langelier:
    """A Langelier index: the water's pH less the pH at which it would neither scale nor dissolve.

    ``temperature`` [°C] is the one it was worked out for, usually the boiler's. ``extrapolated``
    is set above 90 °C, where the equations go beyond the measurements behind them.
    """

    value: float
    saturation_ph: float
    method: Method
    temperature: float
    extrapolated: bool

    @property
    def ryznar(self) -> float:
        """Return the Ryznar index, 2 pHs - pH."""
        return self.saturation_ph - self.value

    @property
    def hint(self) -> str:
        """Return what the index hints at: "scale", "corrosion" or "near balance"."""
        if abs(self.value) <= BALANCED:
            return "near balance"
        return "scale" if self.value > 0 else "corrosion"

    @property
    def sentence(self) -> str:
        """Return the number with its method, its hint, and how far to trust it."""
        beyond = " (beyond the measured range)" if self.extrapolated else ""
        return (
            f"Langelier index {self.value:+.1f} at {self.temperature:.0f} °C{beyond}, "
            f"{self.method.value}: {self.hint}. {TRUST}"
        )


@dataclass(frozen=True, slots=True)
class _Water:
    """Checked inputs: pH, °C, and mg/L (hardness and alkalinity as CaCO3)."""

    ph: float
    temperature: float
    calcium: float
    alkalinity: float
    solids: float


def langelier(
    *,
    ph: Real,
    temperature: Real,
    calcium_hardness: Real,
    alkalinity: Real,
    dissolved_solids: Real,
    method: Method = Method.CLOSED_FORM,
) -> Langelier:
    """Return the Langelier index of a water at a temperature [°C].

    ``calcium_hardness`` and ``alkalinity`` in mg/L as CaCO3, ``dissolved_solids`` in mg/L. The pH
    is taken as measured, not corrected for temperature.
    Closed form: pHs = 9.3 + A + B - C - D, A = (log TDS - 1)/10, B = 34.55 - 13.12 log(t + 273),
    C = log Ca - 0.4, D = log Alk (Langelier 1936 as restated in trade texts).
    Standard Methods 2330: pHs = pK2 - pKs + p[Ca] + p[HCO3] + 5 pfm, constants of Plummer &
    Busenberg 1982. Raises BadValueError outside pH 0 to 14, 0 to 130 °C, and for concentrations
    not above 0 or above 10,000 mg/L.
    """
    water = _Water(
        ph=number("ph", ph, "pH", low=0.0, high=14.0),
        temperature=number("temperature", temperature, "°C", low=0.0, high=130.0),
        calcium=number("calcium_hardness", calcium_hardness, "mg/L CaCO3", above=0.0, high=1e4),
        alkalinity=number("alkalinity", alkalinity, "mg/L CaCO3", above=0.0, high=1e4),
        solids=number("dissolved_solids", dissolved_solids, "mg/L", above=0.0, high=1e4),
    )
    named = _method(method)
    balance = _closed_form if named is Method.CLOSED_FORM else _standard_methods
    saturation = balance(water)
    beyond = water.temperature > HOTTEST_PUBLISHED
    return Langelier(water.ph - saturation, saturation, named, water.temperature, beyond)


def _method(name: str) -> Method:
    """Return a method by its name; BadValueError for an unknown one."""
    if name not in set(Method):
        raise BadValueError("method", name, ", ".join(Method))
    return Method(name)


def carbonate_constants(temperature: Real) -> tuple[float, float, float]:
    """Return pK1, pK2 of carbonic acid and pKs of calcite at °C.

    Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011-1040, valid 0 to 90 °C. Raises
    BadValueError outside 0 to 130 °C.
    """
    t = number("temperature", temperature, "°C", low=0.0, high=130.0) + KELVIN
    log = math.log10(t)
    first = -356.3094 - 0.06091964 * t + 21834.37 / t + 126.8339 * log - 1684915 / t**2
    second = -107.8871 - 0.03252849 * t + 5151.79 / t + 38.92561 * log - 563713.9 / t**2
    calcite = -171.9065 - 0.077993 * t + 2839.319 / t + 71.595 * log
    return -first, -second, -calcite


def activity_exponent(dissolved_solids: Real, temperature: Real) -> float:
    """Return pfm, the negative log of a monovalent ion's activity coefficient.

    Davies with I = TDS/40,000 [mol/L], A = 1.82e6 (E T)^-1.5, E = 60954/(T + 116) - 68.937
    (Standard Methods 2330). Raises BadValueError as `langelier` does.
    """
    solids = number("dissolved_solids", dissolved_solids, "mg/L", above=0.0, high=1e4)
    t = number("temperature", temperature, "°C", low=0.0, high=130.0) + KELVIN
    strength = solids / 40_000.0
    root = math.sqrt(strength)
    factor = 1.82e6 * ((60954.0 / (t + 116.0) - 68.937) * t) ** -1.5
    return float(factor * (root / (1.0 + root) - 0.3 * strength))


def _closed_form(water: _Water) -> float:
    """Return the saturation pH by the closed form."""
    a = (math.log10(water.solids) - 1.0) / 10.0
    b = 34.55 - 13.12 * math.log10(water.temperature + 273.0)
    return 9.3 + a + b - (math.log10(water.calcium) - 0.4) - math.log10(water.alkalinity)


def _standard_methods(water: _Water) -> float:
    """Return the saturation pH by Standard Methods 2330, bicarbonate taken as alkalinity."""
    _, second, calcite = carbonate_constants(water.temperature)
    calcium = water.calcium / CALCIUM_CARBONATE / 1000.0
    bicarbonate = water.alkalinity / (CALCIUM_CARBONATE / 2.0) / 1000.0
    activity = activity_exponent(water.solids, water.temperature)
    return second - calcite - math.log10(calcium) - math.log10(bicarbonate) + 5.0 * activity


# Which properties of two sites' water differ enough to matter to a recipe.


@dataclass(frozen=True, slots=True)
class WaterSample:
    """A water report in the program's own units; None where a property wasn't measured.

    pH; hardness and alkalinity [mg/L CaCO3]; dissolved solids [mg/L]; temperature [°C];
    conductivity at 25 °C [µS/cm]; chloride [mg/L].
    """

    ph: Real | None = None
    hardness: Real | None = None
    alkalinity: Real | None = None
    dissolved_solids: Real | None = None
    temperature: Real | None = None
    conductivity: Real | None = None
    chloride: Real | None = None


@dataclass(frozen=True, slots=True)
class Difference:
    """One property in both samples, and whether they differ much."""

    name: str
    unit: str
    first: float
    second: float
    much: bool


# Label, unit, largest value, and the difference that counts as much: an absolute step, and for
# concentrations a share of the larger as well. Our own thresholds, no source.
PROPERTIES = {
    "ph": ("pH", "pH", 14.0, 0.5, 0.0),
    "hardness": ("hardness", "mg/L CaCO3", 1e5, 30.0, 0.25),
    "alkalinity": ("alkalinity", "mg/L CaCO3", 1e5, 20.0, 0.25),
    "dissolved_solids": ("dissolved solids", "mg/L", 1e5, 50.0, 0.25),
    "temperature": ("temperature", "°C", 130.0, 10.0, 0.0),
    "conductivity": ("conductivity", "µS/cm", 1e5, 80.0, 0.25),
    "chloride": ("chloride", "mg/L", 1e5, 20.0, 0.25),
}


def compare(first: WaterSample, second: WaterSample) -> list[Difference]:
    """Return every property that both samples have, in order, marked where they differ much.

    Raises BadValueError for a negative value and for one above the property's largest.
    """
    rows = []
    for field in fields(WaterSample):
        one, other = getattr(first, field.name), getattr(second, field.name)
        if one is not None and other is not None:
            rows.append(_difference(field.name, one, other))
    return rows


def not_compared(first: WaterSample, second: WaterSample) -> list[str]:
    """Return the names of the properties that the first sample has and the second lacks."""
    return [
        PROPERTIES[field.name][0]
        for field in fields(WaterSample)
        if getattr(first, field.name) is not None and getattr(second, field.name) is None
    ]


def _difference(field: str, one: Real, other: Real) -> Difference:
    """Return one property's row."""
    label, unit, largest, step, share = PROPERTIES[field]
    a, b = (number(field, value, unit, low=0.0, high=largest) for value in (one, other))
    much = abs(a - b) >= max(step, share * max(a, b))
    return Difference(label, unit, a, b, much)
