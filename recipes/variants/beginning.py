"""What a variant begins from: the whole formula without what the machine type lacks."""

from recipes.formula.formula import Formula
from recipes.formula.parameters import ENDED_BY, PARAMETERS, SetBy
from stations.machine_types.models import MachineType
from stations.metrology.formula import BY_WATER, ENDS_BY, Stated

# From what holds a yield best to what leaves it to the barista: common practice, no source.
FULLEST_FIRST = (BY_WATER, "mass", "time", "operator")


def fitted(formula: Formula, machine_type: MachineType) -> Formula:
    """The formula without the settings that the type does not have, ended as it can.

    A target out of its range stays, for whoever writes the variant to decide.
    """
    ended = formula | {ENDS_BY: Stated(text=_ending(formula, machine_type))}
    able = {ability.parameter for ability in machine_type.abilities.all()}
    lacks = {
        code
        for code, parameter in PARAMETERS.items()
        if parameter.set_by is SetBy.MACHINE and parameter.is_number and code not in able
    }
    return _without(ended, lacks)


def _ending(formula: Formula, machine_type: MachineType) -> str:
    """As the formula says where the type can, else the fullest way of which a target is stated."""
    known = [each for each in FULLEST_FIRST if each in machine_type.ends_by]
    if formula.ends_by in known:
        return formula.ends_by
    stated = [each for each in known if ENDED_BY.get(each, ENDS_BY) in formula]
    return next(iter([*stated, *known]), formula.ends_by)


def _without(formula: Formula, lacks: set[str]) -> Formula:
    """Without these, and without what is nothing without one of them."""
    kept = Formula({code: stated for code, stated in formula.items() if code not in lacks})
    orphans = {code for code in kept if code in PARAMETERS and set(PARAMETERS[code].needs) & lacks}
    return _without(kept, orphans) if orphans else kept
