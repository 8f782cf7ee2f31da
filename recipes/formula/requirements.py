"""Equipment requirements (as in ISA-88): what a machine must be able to set for a formula."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Count

from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS, Parameter
from stations.machine_types.models import Ability, MachineType
from stations.metrology.formula import BEVERAGE, ENDS_BY, WATER, Stated
from stations.metrology.rules import NOT_SET
from web.printing import number, quantity


@dataclass(frozen=True)
class Requirement:
    """One thing a machine must be able to do."""

    parameter: Parameter
    stated: Stated
    yields: Decimal | None = None  # g, where the station's own water is to yield so much

    def words(self) -> str:
        """As a line of a list: 'set brew pressure to 9 bar', 'end the shot by water volume'."""
        if not self.parameter.is_number:
            return f"end the shot by {_ending(self.stated.text)}"
        if self.stated.target is None:
            return f"set the water volume that yields {quantity(self.yields, 'g')}"
        shown = quantity(self.stated.target, self.parameter.unit)
        return f"set {self.parameter.label.lower()} to {shown}"

    def lacking(self, abilities: Mapping[str, Ability], endings: list[str]) -> str:
        """Why a machine can't do it, as words after its name; empty if it can."""
        if not self.parameter.is_number:
            able = self.stated.text in endings
            return "" if able else f"can't end a shot by {_ending(self.stated.text)}"
        ability = abilities.get(self.parameter.code)
        if ability is None:
            return f"can't set {self.parameter.label.lower()}"
        target = self.stated.target or Decimal(0)
        if self.parameter.rule.by_station:
            return ""  # the plan of a publication checks those
        if ability.minimum <= target <= ability.maximum:
            return ""
        low, high = number(ability.minimum), quantity(ability.maximum, self.parameter.unit)
        return f"sets {self.parameter.label.lower()} from {low} to {high} only"


@dataclass(frozen=True)
class Unable:
    """Machines of one construction that can't hold the formula, and why."""

    machine_type: MachineType
    machines: int
    reasons: list[str]


def requirements(formula: Formula) -> list[Requirement]:
    """What the formula asks of a machine, in the registry's order."""
    yields = formula.target(BEVERAGE) if formula.leaves_water else None
    own = {WATER} if formula.leaves_water else set()
    return [
        Requirement(parameter, formula.of(code), yields)
        for code, parameter in PARAMETERS.items()
        if code in formula.keys() | own
        and parameter.rule is not NOT_SET
        and parameter.only_if_ends_by in ("", formula.ends_by)
    ]


def unable(formula: Formula) -> list[Unable]:
    """The constructions in use that can't hold the formula: two queries."""
    found = []
    sets = MachineType.objects.annotate(machine_count=Count("machines")).filter(machine_count__gt=0)
    for each in sets.prefetch_related("abilities"):
        reasons = lacking(formula, each)
        if reasons:
            found.append(Unable(each, each.machine_count, reasons))
    return found


def lacking(formula: Formula, machine_type: MachineType) -> list[str]:
    """Why machines of a type can't hold the formula, as words after its name; none if they can."""
    able = {ability.parameter: ability for ability in machine_type.abilities.all()}
    needed = requirements(formula)
    return [lacks for need in needed if (lacks := need.lacking(able, machine_type.ends_by))]


def _ending(code: str) -> str:
    return dict(PARAMETERS[ENDS_BY].choices).get(code, code)
