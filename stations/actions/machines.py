"""Espresso machines."""

from audit.context import recorded
from audit.errors import Problem
from audit.revision import compare_and_set
from audit.subject import Subject
from people.models import User
from people.permissions import require
from people.verbs import Verb
from stations import history
from stations.checks import Checks, taken
from stations.models import AbilitySet, Machine, Site


def add_machine(*, site: Site, name: str, abilities: AbilitySet, by: User) -> Machine:
    """Add a machine to a bar. Raises Invalid and NotPermitted."""
    subject = Subject("machine", None, str(name))
    with recorded(by=by, action=history.MACHINE_ADDED, subject=subject, site_id=site.pk):
        require(by, Verb.EQUIPMENT_EDIT, site.pk, subject)
        checks = Checks()
        machine = Machine(site=site, name=checks.text("name", name), abilities=abilities)
        checks.done()
        with taken(**_name_taken(name)):
            machine.save(force_insert=True)
    return machine


def change_machine(
    *, machine: Machine, seen_revision: int, name: str, abilities: AbilitySet, by: User
) -> Machine:
    """Change a machine's name or abilities. What its slots hold now is not touched by it.

    Raises Invalid, Stale and NotPermitted.
    """
    subject = Subject("machine", machine.pk, machine.name)
    with recorded(by=by, action=history.MACHINE_CHANGED, subject=subject, site_id=machine.site_id):
        require(by, Verb.EQUIPMENT_EDIT, machine.site_id, subject)
        checks = Checks()
        wanted = checks.text("name", name)
        checks.done()
        with taken(**_name_taken(name)):
            compare_and_set(machine, seen_revision, name=wanted, abilities=abilities)
    return machine


def _name_taken(name: str) -> dict[str, Problem]:
    allowed = "a name no other machine of this site has"
    return {"machine_name_once_per_site": Problem("name", name, allowed)}
