"""What machines of one construction are able to set."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

from audit.capture.context import recorded
from audit.errors import Problem, Subject
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require_everywhere
from people.persons.verbs import Verb
from stations.machine_types.catalogue import ENDINGS, SETTINGS, Setting, bounds_of, step_bounds_of
from stations.machine_types.models import Ability, MachineType
from web.checks import Checks, taken

# What entries of before say, when a machine type was called a set of abilities.
register("ability_set.added", "Added machine type")
register("ability_set.changed", "Changed machine type")

MACHINE_TYPE_ADDED = register("machine_type.added", "Added machine type")
MACHINE_TYPE_CHANGED = register("machine_type.changed", "Changed machine type")


class Reach(NamedTuple):
    """How far a machine can set one parameter, and in which steps; in the machine's own unit."""

    minimum: Decimal
    maximum: Decimal
    resolution: Decimal


def add_machine_type(
    *, by: User, name: str, ends_by: Sequence[str], abilities: Mapping[str, Reach]
) -> MachineType:
    """Add a machine type; abilities by parameter code of the catalogue, each with its reach.

    Raises Invalid, and NotPermitted without a role that covers all sites.
    """
    subject = Subject("machine type", None, str(name))
    with recorded(by=by, action=MACHINE_TYPE_ADDED, subject=subject):
        require_everywhere(by, Verb.SITE_EDIT, subject)
        checks = Checks()
        made = MachineType(name=checks.text("name", name), ends_by=_endings(checks, ends_by))
        reaches = _reaches(checks, abilities)
        checks.done()
        with taken(**_name_taken(name)):
            made.save(force_insert=True)
        Ability.objects.bulk_create(_rows(made, reaches))
    return made


def change_machine_type(
    *,
    by: User,
    machine_type: MachineType,
    revision: int,
    name: str,
    ends_by: Sequence[str],
    abilities: Mapping[str, Reach],
) -> MachineType:
    """Replace a type's name, endings and abilities. What slots hold now is not touched by it.

    Raises Invalid, Stale, and NotPermitted without a role that covers all sites.
    """
    subject = Subject("machine type", machine_type.pk, machine_type.name)
    with recorded(by=by, action=MACHINE_TYPE_CHANGED, subject=subject):
        require_everywhere(by, Verb.SITE_EDIT, subject)
        checks = Checks()
        values = {"name": checks.text("name", name), "ends_by": _endings(checks, ends_by)}
        reaches = _reaches(checks, abilities)
        checks.done()
        with taken(**_name_taken(name)):
            # First, so that of two racing edits only one goes on to the rows below.
            compare_and_set(machine_type, revision, **values)
        Ability.objects.filter(machine_type=machine_type).exclude(parameter__in=reaches).delete()
        Ability.objects.bulk_create(
            _rows(machine_type, reaches),
            update_conflicts=True,
            unique_fields=["machine_type", "parameter"],
            update_fields=["minimum", "maximum", "resolution"],
        )
    return machine_type


def _rows(machine_type: MachineType, reaches: Mapping[str, Reach]) -> list[Ability]:
    return [
        Ability(machine_type=machine_type, parameter=code, **reach._asdict())
        for code, reach in reaches.items()
    ]


def _endings(checks: Checks, ends_by: Sequence[str]) -> list[str]:
    chosen = [checks.choice("ends_by", code, ENDINGS) for code in ends_by]
    if not chosen:
        checks.fault("ends_by", "", f"at least one of {', '.join(ENDINGS)}")
    return [code for code in ENDINGS if code in chosen]  # once each, in the catalogue's order


def _reaches(checks: Checks, abilities: Mapping[str, Reach]) -> dict[str, Reach]:
    kept = {}
    for code, reach in abilities.items():
        setting = SETTINGS.get(code)
        if setting is None:
            checks.fault("parameter", code, f"one of {', '.join(SETTINGS)}")
        else:
            kept[code] = _reach(checks, setting, reach)
    return kept


def _reach(checks: Checks, setting: Setting, reach: Reach) -> Reach:
    limits, before = bounds_of(setting), len(checks.problems)
    low = checks.number(f"{setting.code}.minimum", reach.minimum, limits)
    high = checks.number(f"{setting.code}.maximum", reach.maximum, limits)
    step = checks.number(f"{setting.code}.resolution", reach.resolution, step_bounds_of(setting))
    if len(checks.problems) == before and low > high:
        allowed = f"a maximum that is at least the minimum, {low}"
        checks.fault(f"{setting.code}.maximum", reach.maximum, allowed)
    return Reach(low, high, step)


def _name_taken(name: str) -> dict[str, Problem]:
    return {
        "stations_machinetype_name_key": Problem("name", name, "a name no other machine type has")
    }
