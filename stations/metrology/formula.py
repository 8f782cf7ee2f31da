"""What a formula states about its parameters, and how each of them becomes a control setting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from stations.metrology.errors import BadValueError
from stations.metrology.numbers import require_plain

if TYPE_CHECKING:
    from stations.metrology.rules import TranslationRule


# Codes of what stations know by themselves: what a shot is weighed and timed for, and what their
# meters, probes and machines are asked for. The registry of recipes names its entries by them.
IN_CUP = DOSE, BEVERAGE, SHOT_TIME = "dose_mass", "beverage_mass", "shot_time"
WATER, TAPER, TEMPERATURE = "water_volume", "taper_start", "brew_temperature"
ENDS_BY, BASKET = "ends_by", "basket"
BY_WATER = "volume"  # the word for a shot that ends by its water


@dataclass(frozen=True, slots=True)
class Stated:
    """What a formula states about one parameter: target and tolerance in its unit, or a text.

    ``below`` and ``above`` are how far the cup may fall short of or exceed the target, both at
    or above 0; None means that no tolerance is stated. Equal by value: 18.0 is 18.00.
    """

    target: Decimal | None = None
    below: Decimal | None = None
    above: Decimal | None = None
    text: str = ""

    def __bool__(self) -> bool:
        """Return whether anything is stated at all."""
        return self != NOTHING_STATED

    @property
    def columns(self) -> dict[str, Any]:
        """All of it by name, as rows store it."""
        return {**self.numbers, "text": self.text}

    @property
    def numbers(self) -> dict[str, Decimal | None]:
        """The three numbers by name."""
        return {"target": self.target, "below": self.below, "above": self.above}


NOTHING_STATED = Stated()
Formula = Mapping[str, Stated]


@dataclass(frozen=True, slots=True)
class ParameterRule:
    """One registry entry as the translation needs it.

    ``label`` and ``unit`` are those shown to people ("brew pressure", "bar"). ``percent_of`` is
    the code of the volume that a share is taken of. With ``only_if_ends_by`` the parameter is a
    setting only in formulas whose shot ends that way: beverage mass is an outcome unless a scale
    ends the shot.
    """

    code: str
    label: str
    unit: str
    rule: TranslationRule
    percent_of: str = ""
    only_if_ends_by: str = ""


Rules = Mapping[str, ParameterRule]


def require_stated(formula: Formula, rules: Rules) -> None:
    """Raise BadValueError for a parameter without a rule or a number that can't be used.

    Those are numbers that are not finite decimals of ordinary size, and negative tolerances.
    """
    for code, stated in formula.items():
        if code not in rules:
            raise BadValueError("parameter", code, "one of the registered parameters")
        for name, value in stated.numbers.items():
            if value is None:
                continue
            if require_plain(f"{code} {name}", value) < 0 and name != "target":
                raise BadValueError(f"{code} {name}", value, "0 or more")
