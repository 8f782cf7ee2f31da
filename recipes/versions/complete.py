"""Whether a draft says enough, and nothing that cannot be: the whole formula and each variant."""

import re
from collections.abc import Iterable
from dataclasses import replace

from audit.errors import Problem
from recipes.formula.doubts import fault_words, impossible
from recipes.formula.formula import Formula
from recipes.formula.parameters import ENDED_BY, PARAMETERS
from recipes.versions.models import Version
from stations.machine_types.models import MachineType
from stations.metrology.formula import ENDS_BY, WATER

NO_OTHER = "something else than the whole formula; or no variant for this machine type"


def faults_of(version: Version) -> list[Problem]:
    """One problem for each gap and each value that cannot be."""
    whole = version.stated
    found = _faults(whole)
    for machine_type, formula in version.variants.items():
        found += [
            replace(each, field=field_in(machine_type, each.field)) for each in _faults(formula)
        ]
        if not formula.differing(whole):
            found.append(Problem(field_in(machine_type), None, NO_OTHER))
    return found


def _faults(formula: Formula) -> list[Problem]:
    return gaps(formula) + impossible(formula)


# Fields of a variant are named by its machine type, as in variant_3_dose_mass.


def field_in(machine_type: int | None, field: str = "") -> str:
    """The name of a field of a machine type's variant; None: of the whole formula."""
    return field if machine_type is None else f"variant_{machine_type}_{field}".rstrip("_")


def _part(field: str) -> tuple[int | None, str]:
    """The machine type and the field in its variant."""
    found = re.fullmatch(r"variant_(\d+)(?:_(.*))?", field)
    return (int(found[1]), found[2] or "") if found else (None, field)


def sentences(problems: Iterable[Problem]) -> list[str]:
    """Each as a page shows it, headed by the machine type if it is in a variant: one query then."""
    parts = [(each, *_part(each.field)) for each in problems]
    names = names_of({part for _, part, _ in parts if part is not None})
    return [
        f"{names[part]}: {_sentence(replace(each, field=field))}" if part in names
        else _sentence(each)
        for each, part, field in parts
    ]  # fmt: skip


def _sentence(problem: Problem) -> str:
    """With its value where there is one, else what is missing."""
    if problem.value is not None:
        return fault_words([problem])[0]
    return f"{problem.allowed[:1].upper()}{problem.allowed[1:]}."


def names_of(machine_types: Iterable[int]) -> dict[int, str]:
    """Names by id; no query for none."""
    wanted = list(machine_types)
    return {pk: str(each) for pk, each in MachineType.objects.in_bulk(wanted).items()}


# Gaps.


def gaps(formula: Formula) -> list[Problem]:
    """One problem for each parameter that is missing, saying why it is needed.

    Water volume isn't, where the shot ends by it and dose and beverage mass are stated: each
    station then gets the water that yields the beverage there.
    """
    reasons = {
        code: "every recipe states it"
        for code, parameter in PARAMETERS.items()
        if parameter.required and code not in formula
    }
    ending = ENDED_BY.get(formula.ends_by)
    if ending and ending not in formula:
        reasons.setdefault(ending, f"the shot ends by {_label(ENDS_BY, formula.ends_by)}")
    for has in formula:
        for needs in PARAMETERS[has].needs if has in PARAMETERS else ():
            if needs not in formula:
                reasons.setdefault(needs, f"{PARAMETERS[has].label.lower()} is given")
    if formula.leaves_water:
        reasons.pop(WATER, None)
    return [
        Problem(code, None, f"{PARAMETERS[code].label.lower()}, because {why}")
        for code, why in reasons.items()
    ]


def _label(code: str, choice: str) -> str:
    return dict(PARAMETERS[code].choices).get(choice, choice)
