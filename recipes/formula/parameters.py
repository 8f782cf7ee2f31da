"""The registry of governed parameters: the only place that knows them.

Adding one is one entry here. Ranges are hard limits of what anybody may enter; they are common
practice for espresso with room on both sides, no source, except that pressures stay under what
brewing groups are built for.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from stations.machine_types.catalogue import Setting
from stations.metrology.abilities import ParameterRule, TranslationRule

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
    rule: TranslationRule
    minimum: Decimal = Decimal(0)
    maximum: Decimal = Decimal(0)
    resolution: Decimal = Decimal("0.1")  # the finest step worth writing down
    choices: tuple[tuple[str, str], ...] = ()
    percent_of: str = ""
    only_if_ends_by: str = ""  # an outcome, unless the shot ends by it

    @property
    def is_number(self) -> bool:
        """Whether it has a target with tolerances; else it is a word or a note."""
        return bool(self.unit)

    @property
    def machine_unit(self) -> str:
        """The unit on the machine's own display."""
        counted = self.rule in {TranslationRule.PULSES, TranslationRule.PULSE_OF_PERCENT}
        return PULSE if counted else self.unit

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


def _number(  # noqa: PLR0917 - the columns of a table
    code: str,
    label: str,
    unit: str,
    set_by: SetBy,
    rule: TranslationRule,
    low: str,
    high: str,
    step: str,
    percent_of: str = "",
    only_if_ends_by: str = "",
) -> Parameter:
    return Parameter(
        code,
        label,
        unit,
        set_by,
        rule,
        *(Decimal(low), Decimal(high), Decimal(step)),
        percent_of=percent_of,
        only_if_ends_by=only_if_ends_by,
    )


_B, _M, _O = SetBy.BARISTA, SetBy.MACHINE, SetBy.OUTCOME
_R = TranslationRule

_TABLE = (
    _number("dose_mass", "Dose", "g", _B, _R.NOT_SET, "5", "30", "0.1"),
    _number(
        "beverage_mass", "Yield", "g", _O, _R.AS_IS, "5", "400", "0.1",
        only_if_ends_by="mass",
    ),
    _number("shot_time", "Shot time", "s", _O, _R.AS_IS, "5", "180", "0.1", only_if_ends_by="time"),
    _number(
        "water_volume", "Water volume", "mL", _M, _R.PULSES, "10", "500", "0.1",
        only_if_ends_by="volume",
    ),
    _number("brew_temperature", "Brew temperature", "Cel", _M, _R.OFFSET, "80", "100", "0.1"),
    _number("preinfusion_time", "Pre-infusion time", "s", _M, _R.AS_IS, "0", "60", "0.1"),
    _number("preinfusion_pressure", "Pre-infusion pressure", "bar", _M, _R.AS_IS, "0", "6", "0.1"),
    _number("rise_time", "Rise time", "s", _M, _R.AS_IS, "0", "30", "0.1"),
    _number(
        "intermediate_pressure", "Intermediate pressure", "bar", _M, _R.AS_IS, "0", "12", "0.1",
    ),
    _number("brew_pressure", "Brew pressure", "bar", _M, _R.AS_IS, "1", "12", "0.1"),
    _number(
        "taper_start", "Taper start", "%", _M, _R.PULSE_OF_PERCENT, "50", "100", "0.1",
        percent_of="water_volume",
    ),
    _number("taper_pressure", "Taper pressure", "bar", _M, _R.AS_IS, "0", "12", "0.1"),
    Parameter("ends_by", "Shot ends by", "", _M, _R.ENDS_BY, choices=ENDINGS),
    Parameter("grind_note", "Grind", "", _B, _R.NOT_SET),
    Parameter("basket", "Basket", "", _B, _R.NOT_SET),
)  # fmt: skip

PARAMETERS: dict[str, Parameter] = {parameter.code: parameter for parameter in _TABLE}

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
        if parameter.is_number and parameter.rule is not _R.NOT_SET
    ]


def unit_sql(column: str) -> str:
    """SQL for the unit of the parameter whose code is in ``column``: a history entry keeps it."""
    units = {code: p.unit for code, p in PARAMETERS.items() if p.unit}
    cases = " ".join(f"WHEN '{code}' THEN '{unit}'" for code, unit in units.items())
    return f"CASE {column} {cases} ELSE '' END"
