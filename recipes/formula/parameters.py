"""The registry of governed parameters: the only place that knows them.

Adding one is one entry here; what it is to the rest of the program is said in its attributes.
Ranges are hard limits of what anybody may enter; they are common practice for espresso with room
on both sides, no source, except that pressures stay under what brewing groups are built for.
Usual tolerances are common practice, no source; those of a national institute's espresso (dose
±0.5 g, water ±2 °C, ±1 bar, ±5 s; references 6.10) are two to four times as wide.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import TypedDict, Unpack

from stations.machine_types.catalogue import Setting
from stations.metrology import rules
from stations.metrology.formula import (
    BEVERAGE,
    BY_WATER,
    DOSE,
    ENDS_BY,
    SHOT_TIME,
    TAPER,
    TEMPERATURE,
    WATER,
    ParameterRule,
)

PULSE = "{pulse}"


class SetBy(StrEnum):
    """Who or what brings the parameter about."""

    BARISTA = "barista"
    MACHINE = "machine"
    OUTCOME = "outcome"


@dataclass(frozen=True)
class Parameter:
    """One governed quantity; numbers in ``unit`` (UCUM), text where ``unit`` is empty."""

    code: str
    label: str
    unit: str
    set_by: SetBy
    rule: rules.TranslationRule
    minimum: Decimal = Decimal(0)
    maximum: Decimal = Decimal(0)
    resolution: Decimal = Decimal("0.1")  # the finest step worth writing down
    choices: tuple[tuple[str, str], ...] = ()
    percent_of: str = ""
    only_if_ends_by: str = ""  # an outcome, unless the shot ends by it
    required: bool = False  # every recipe states it
    needs: tuple[str, ...] = ()  # what must be stated wherever it is
    modelled: bool = False  # the shot model can pour another target of it
    usual_width: Decimal = Decimal(0)  # a tolerance to begin from, either way

    @property
    def is_number(self) -> bool:
        """Whether it has a target with tolerances; else it is a word or a note."""
        return bool(self.unit)

    @property
    def machine_unit(self) -> str:
        """The unit on the machine's own display."""
        return PULSE if self.rule.machine_unit else self.unit

    @property
    def translation(self) -> ParameterRule:
        """The entry as ``stations.metrology`` needs it."""
        return ParameterRule(
            self.code,
            self.label.lower(),
            PRINTED.get(self.unit, self.unit),
            self.rule,
            self.percent_of,
            self.only_if_ends_by,
        )


# How UCUM codes are printed where that differs from the code itself.
PRINTED = {"Cel": "°C", PULSE: "pulses"}

ENDINGS = (
    ("operator", "the barista"),
    ("volume", "water volume"),
    ("mass", "yield"),
    ("time", "shot time"),
)


class _Roles(TypedDict, total=False):
    percent_of: str
    only_if_ends_by: str
    required: bool
    needs: tuple[str, ...]
    modelled: bool


def _number(  # noqa: PLR0917 - the columns of a table
    code: str,
    label: str,
    unit: str,
    set_by: SetBy,
    rule: rules.TranslationRule,
    low: str,
    high: str,
    step: str,
    width: str,
    **roles: Unpack[_Roles],
) -> Parameter:
    bounds = (Decimal(low), Decimal(high), Decimal(step))
    wide = Decimal(width)
    return Parameter(code, label, unit, set_by, rule, *bounds, usual_width=wide, **roles)


_B, _M, _O = SetBy.BARISTA, SetBy.MACHINE, SetBy.OUTCOME
_AS_IS, _NOT_SET = rules.AS_IS, rules.NOT_SET
PRESSURE, PREINFUSION_TIME, TAPER_PRESSURE = "brew_pressure", "preinfusion_time", "taper_pressure"

_TABLE = (
    _number(
        DOSE, "Dose", "g", _B, _NOT_SET, "5", "30", "0.1", "0.2", required=True, modelled=True,
    ),
    _number(
        BEVERAGE, "Yield", "g", _O, _AS_IS, "5", "400", "0.1", "2",
        only_if_ends_by="mass", required=True, modelled=True,
    ),
    _number(
        SHOT_TIME, "Shot time", "s", _O, _AS_IS, "5", "180", "0.1", "3", only_if_ends_by="time",
    ),
    _number(
        WATER, "Water volume", "mL", _M, rules.PULSES, "10", "500", "0.1", "1.5",
        only_if_ends_by=BY_WATER, modelled=True,
    ),
    _number(
        TEMPERATURE, "Brew temperature", "Cel", _M, rules.OFFSET, "80", "100", "0.1", "0.5",
        required=True, modelled=True,
    ),
    _number(
        PREINFUSION_TIME, "Pre-infusion time", "s", _M, _AS_IS, "0", "60", "0.1", "0.5",
        modelled=True,
    ),
    _number(
        "preinfusion_pressure", "Pre-infusion pressure", "bar", _M, _AS_IS, "0", "6", "0.1", "0.5",
        needs=(PREINFUSION_TIME,), modelled=True,
    ),
    _number("rise_time", "Rise time", "s", _M, _AS_IS, "0", "30", "0.1", "0.5", modelled=True),
    _number(
        "intermediate_pressure", "Intermediate pressure", "bar", _M, _AS_IS, "0", "12", "0.1",
        "0.3", modelled=True,
    ),
    _number(PRESSURE, "Brew pressure", "bar", _M, _AS_IS, "1", "12", "0.1", "0.3", modelled=True),
    _number(
        TAPER, "Taper start", "%", _M, rules.PULSE_OF_PERCENT, "50", "100", "0.1", "1",
        percent_of=WATER, needs=(WATER, TAPER_PRESSURE),
    ),
    _number(
        TAPER_PRESSURE, "Taper pressure", "bar", _M, _AS_IS, "0", "12", "0.1", "0.5",
        needs=(TAPER,), modelled=True,
    ),
    Parameter(ENDS_BY, "Shot ends by", "", _M, rules.ENDS_BY, choices=ENDINGS, required=True),
    Parameter("grind_note", "Grind", "", _B, _NOT_SET),
    Parameter("basket", "Basket", "", _B, _NOT_SET),
)  # fmt: skip

PARAMETERS: dict[str, Parameter] = {parameter.code: parameter for parameter in _TABLE}

# What the shot ends by, for each way to end it that has a parameter.
ENDED_BY: dict[str, str] = {
    parameter.only_if_ends_by: code
    for code, parameter in PARAMETERS.items()
    if parameter.only_if_ends_by
}

TRANSLATION_RULES: dict[str, ParameterRule] = {
    code: parameter.translation for code, parameter in PARAMETERS.items()
}

# Machines count the whole range a flow meter can reach, whatever one pulse stands for.
_PULSE_RANGE = (Decimal(1), Decimal(20_000))


def machine_settings() -> list[Setting]:
    """What a machine may be able to set, for the equipment's own pages and checks."""
    return [
        Setting(
            parameter.code,
            parameter.label,
            parameter.machine_unit,
            *(
                _PULSE_RANGE
                if parameter.machine_unit == PULSE
                else (parameter.minimum, parameter.maximum)
            ),
        )
        for parameter in PARAMETERS.values()
        if parameter.is_number and parameter.rule is not rules.NOT_SET
    ]


def unit_sql(column: str) -> str:
    """SQL for the unit of the parameter whose code is in ``column``: a history entry keeps it."""
    units = {code: p.unit for code, p in PARAMETERS.items() if p.unit}
    cases = " ".join(f"WHEN '{code}' THEN '{unit}'" for code, unit in units.items())
    return f"CASE {column} {cases} ELSE '' END"
