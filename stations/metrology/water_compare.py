"""Which properties of two sites' water differ enough to matter to a recipe."""

from __future__ import annotations

from dataclasses import dataclass, fields

from stations.metrology.numbers import Real, number


@dataclass(frozen=True, slots=True)
class WaterSample:
    """A water report in the program's own units; None where a property wasn't measured.

    pH; hardness and alkalinity [mg/L CaCO3]; dissolved solids [mg/L]; temperature [°C].
    """

    ph: Real | None = None
    hardness: Real | None = None
    alkalinity: Real | None = None
    dissolved_solids: Real | None = None
    temperature: Real | None = None


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


def differ_much(first: WaterSample, second: WaterSample) -> bool:
    """Return whether any property that both samples have differs much."""
    return any(row.much for row in compare(first, second))


def _difference(field: str, one: Real, other: Real) -> Difference:
    """Return one property's row."""
    label, unit, largest, step, share = PROPERTIES[field]
    a, b = (number(field, value, unit, low=0.0, high=largest) for value in (one, other))
    much = abs(a - b) >= max(step, share * max(a, b))
    return Difference(label, unit, a, b, much)
