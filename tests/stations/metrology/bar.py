"""An ordinary formula, a machine and its rules, for the translation's tests and benchmark."""

from __future__ import annotations

from decimal import Decimal

from stations.metrology.abilities import (
    MachineAbilities,
    ParameterAbility,
    StationTraits,
)
from stations.metrology.formula import ParameterRule, Stated
from stations.metrology.rules import AS_IS, ENDS_BY, NOT_SET, OFFSET, PULSE_OF_PERCENT, PULSES

D = Decimal
PRESSURES = ("preinfusion_pressure", "intermediate_pressure", "brew_pressure", "taper_pressure")
TIMES = ("preinfusion_time", "rise_time")

RULES = {
    rule.code: rule
    for rule in [
        ParameterRule("dose_mass", "dose", "g", NOT_SET),
        ParameterRule("beverage_mass", "beverage mass", "g", AS_IS, only_if_ends_by="mass"),
        ParameterRule("water_volume", "water volume", "mL", PULSES),
        ParameterRule("brew_temperature", "brew temperature", "°C", OFFSET),
        ParameterRule(
            "taper_start",
            "taper start",
            "%",
            PULSE_OF_PERCENT,
            percent_of="water_volume",
        ),
        ParameterRule("ends_by", "shot ends by", "", ENDS_BY),
        *[ParameterRule(code, code.replace("_", " "), "bar", AS_IS) for code in PRESSURES],
        *[ParameterRule(code, code.replace("_", " "), "s", AS_IS) for code in TIMES],
    ]
}


def line(code: str, target: str, width: str | None = None) -> tuple[str, Stated]:
    """Return a line of a formula with a tolerance of the same width on both sides."""
    side = None if width is None else D(width)
    return code, Stated(D(target), side, side)


LINES = [
    line("dose_mass", "18", "0.2"),
    line("beverage_mass", "36", "2"),
    line("water_volume", "70", "2"),
    line("brew_temperature", "93", "0.5"),
    line("preinfusion_time", "4", "0.5"),
    line("preinfusion_pressure", "3", "0.5"),
    line("rise_time", "2", "0.5"),
    line("intermediate_pressure", "7", "0.3"),
    line("brew_pressure", "9", "0.3"),
    line("taper_start", "92", "1"),
    line("taper_pressure", "6", "0.3"),
    ("ends_by", Stated(text="volume")),
]
FORMULA = dict(LINES)


def able(code: str, minimum: str, maximum: str, resolution: str) -> ParameterAbility:
    """Return one ability from strings."""
    return ParameterAbility(code, D(minimum), D(maximum), D(resolution))


PARAMETERS = {
    "water_volume": able("water_volume", "10", "900", "1"),
    "taper_start": able("taper_start", "1", "900", "1"),
    "brew_temperature": able("brew_temperature", "80", "98", "0.1"),
    **{code: able(code, "0", "10", "0.1") for code in PRESSURES},
    "brew_pressure": able("brew_pressure", "4", "9", "0.5"),
    **{code: able(code, "0", "30", "0.5") for code in TIMES},
}
MACHINE = MachineAbilities(PARAMETERS, frozenset({"operator", "volume"}))
STATION = StationTraits(D("4"), D("0.5"), D("50"))


def stations(count: int) -> list[tuple[MachineAbilities, StationTraits]]:
    """Return ``count`` stations, no two alike, on three kinds of machine."""
    kinds = [MachineAbilities({**PARAMETERS}, MACHINE.ends_by) for _ in range(3)]
    return [
        (
            kinds[place % 3],
            StationTraits(
                pulses_per_millilitre=D("3.5") + D(place) / 10_000,
                temperature_offset=D(place % 400) / 100 - 1,
                altitude=D(place % 700),
                slope_uncertainty=D("0.01"),
                repeatability=D("0.3"),
                offset_uncertainty=D("0.1"),
            ),
        )
        for place in range(count)
    ]
