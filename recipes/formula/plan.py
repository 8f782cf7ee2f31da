"""The pressure plan a formula asks for, as brewing knows it."""

from dataclasses import fields

from recipes.brewing.pressure_plan import PressurePlan
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS, PRESSURE

# The plan's fields go by the codes of the parameters that state them.
FIELDS = [code for code in PARAMETERS if code in {field.name for field in fields(PressurePlan)}]


def plan_of(formula: Formula) -> PressurePlan | None:
    """The plan; None without a brew pressure.

    Raises QuantityError naming the parameter that makes no plan.
    """
    given = {code: float(target) for code in FIELDS if (target := formula.target(code)) is not None}
    return PressurePlan(**given) if PRESSURE in given else None
