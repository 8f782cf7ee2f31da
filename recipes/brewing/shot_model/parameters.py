"""What a simulated shot is made of: puck, coffee, machine and how it ends.

Magnitudes are published where a source is named; the rest are common practice, or were set so that
18 g and 57 mL of water give 40 g at 20 % in about 26 s at 9 bar, and say so. A fit to a station's
own shots replaces them (`fit`).
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import StrEnum

from recipes.brewing.errors import QuantityError, real
from recipes.brewing.pressure_plan import PressurePlan


@dataclass(frozen=True, slots=True)
class Puck:
    """The bed of ground coffee. Raises QuantityError naming a field out of range.

    dose [g]; grind: effective hydraulic diameter [um], larger is coarser; porosity of the wet bed;
    bulk_density [kg/m3] and radius [mm] give its depth; absorbs [g of water per g];
    swelling: share of the permeability lost when wet through; opening: its relative gain once all
    solubles have gone.
    """

    dose: float = 18.0
    grind: float = 11.0  # gives 4e-15 m2 with the porosity; references 6.16 to 6.18
    porosity: float = 0.17  # Corrochano et al. 2015 (abstract) and references 6.18
    bulk_density: float = 400.0  # 20 g, 29.2 mm, 18.7 mm deep: references 6.13, from memory
    radius: float = 29.2  # mm, references 6.17
    absorbs: float = 0.85  # with the head space about 1.1 g/g kept back: references 6.7, practice
    swelling: float = 0.4  # set, no source
    opening: float = 0.8  # set, no source

    def __post_init__(self) -> None:
        _check(self, PUCK_RANGES)

    @property
    def area(self) -> float:
        """Cross-section [m2]."""
        return 3.141592653589793 * (self.radius * 1e-3) ** 2

    @property
    def depth(self) -> float:
        """Depth [m] = dose / (bulk density x area)."""
        return self.dose * 1e-3 / (self.bulk_density * self.area)

    @property
    def capacity(self) -> float:
        """Water the bed holds when wet through [g]."""
        return self.absorbs * self.dose


@dataclass(frozen=True, slots=True)
class Coffee:
    """What dissolves. Raises QuantityError naming a field out of range.

    soluble: share of the dose; fast: share of that in the fast pool (broken cells);
    fast_rate, slow_rate [1/s] at 93 °C and the reference grind; saturation [g per g of water].
    """

    soluble: float = 0.30  # about 28 to 30 %, common practice
    fast: float = 0.65  # set, no source
    fast_rate: float = 0.6  # set, no source
    slow_rate: float = 0.05  # set, no source
    saturation: float = 0.22  # 212 kg/m3 in Moroney et al. 2015: from memory

    def __post_init__(self) -> None:
        _check(self, COFFEE_RANGES)


@dataclass(frozen=True, slots=True)
class Machine:
    """What feeds the puck. Raises QuantityError naming a field out of range.

    Pump and water line each give free_flow [mL/s] against no pressure and nothing against their
    limit [bar], straight in between; headspace [mL] fills first; temperature [°C] of the water at
    the puck; meter_density [kg/m3] of the cold water the flow meter counts.
    """

    free_flow: float = 8.0  # set, no source
    pump_limit: float = 14.0  # set, no source
    line_flow: float = 6.0  # set, no source
    line_limit: float = 4.0  # common practice for mains water
    headspace: float = 5.0  # set, no source
    temperature: float = 93.0
    meter_density: float = 998.2

    def __post_init__(self) -> None:
        _check(self, MACHINE_RANGES)


class EndsBy(StrEnum):
    """What ends a shot."""

    VOLUME = "volume"
    MASS = "mass"
    TIME = "time"


@dataclass(frozen=True, slots=True)
class Ending:
    """When the shot ends: at so many mL at the meter, g in the cup or s from the start.

    Raises QuantityError naming the ending's value.
    """

    by: EndsBy
    value: float

    def __post_init__(self) -> None:
        value = real(f"ending by {self.by}", self.value, least=0.1, most=2_000.0)
        object.__setattr__(self, "value", value)


PUCK_RANGES = {
    "dose": (3.0, 60.0), "grind": (2.0, 200.0), "porosity": (0.05, 0.6),
    "bulk_density": (150.0, 800.0), "radius": (10.0, 60.0), "absorbs": (0.3, 3.0),
    "swelling": (0.0, 0.95), "opening": (0.0, 10.0),
}  # fmt: skip
COFFEE_RANGES = {
    "soluble": (0.05, 0.4), "fast": (0.0, 1.0), "fast_rate": (0.0, 5.0),
    "slow_rate": (0.0, 2.0), "saturation": (0.1, 2.0),
}  # fmt: skip
MACHINE_RANGES = {
    "free_flow": (0.5, 50.0), "pump_limit": (1.0, 25.0), "line_flow": (0.5, 50.0),
    "line_limit": (0.5, 10.0), "headspace": (0.1, 60.0), "temperature": (60.0, 120.0),
    "meter_density": (900.0, 1001.0),
}  # fmt: skip


def _check(part: Puck | Coffee | Machine, ranges: dict[str, tuple[float, float]]) -> None:
    for field in fields(part):
        low, high = ranges[field.name]
        # Kept as a float, whatever number it came as: shots are computed with it.
        value = real(field.name, getattr(part, field.name), least=low, most=high)
        object.__setattr__(part, field.name, value)


def ranges_of(name: str) -> tuple[float, float]:
    """Range of a puck's or coffee's parameter. Raises QuantityError for a name neither has."""
    found = {**PUCK_RANGES, **COFFEE_RANGES}.get(name) if isinstance(name, str) else None
    if found is None:
        raise QuantityError("parameter", name, ", ".join([*PUCK_RANGES, *COFFEE_RANGES]))
    return found


@dataclass(frozen=True, slots=True)
class Setup:
    """Everything a shot depends on. `water` [mL] is the volume a taper's percent is taken of; it
    is the ending's own where that is a volume. Raises QuantityError naming water."""

    plan: PressurePlan
    ending: Ending
    puck: Puck = Puck()
    coffee: Coffee = Coffee()
    machine: Machine = Machine()
    water: float | None = None

    def __post_init__(self) -> None:
        if self.water is not None:
            value = real("water", self.water, least=0.1, most=2_000.0)
            object.__setattr__(self, "water", value)

    @property
    def taper_water(self) -> float:
        """Volume [mL] the taper counts from; 0 where none is known."""
        if self.water is not None:
            return self.water
        return self.ending.value if self.ending.by is EndsBy.VOLUME else 0.0
