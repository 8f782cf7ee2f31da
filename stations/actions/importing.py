"""Equipment from a CSV file, all of it or nothing."""

from dataclasses import dataclass

from audit.context import recorded
from audit.subject import Subject
from people.models import User
from people.permissions import require
from people.verbs import Verb
from stations import history
from stations.importing.faults import invalid
from stations.importing.plan import Plan, plan_import
from stations.importing.writing import lock_equipment, write


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What an import added, and how many stations of the file were there already."""

    sites: int
    machines: int
    stations: int
    slots: int
    unchanged: int


def import_equipment(*, text: str, by: User) -> ImportReport:
    """Add the equipment of a CSV text (see stations.importing.columns).

    Asking twice adds nothing the second time. Raises Invalid, naming every bad line, and
    NotPermitted; nothing is written then.
    """
    subject = Subject("equipment", None, "equipment file")
    with recorded(by=by, action=history.EQUIPMENT_IMPORTED, subject=subject):
        require(by, Verb.EQUIPMENT_IMPORT, subject=subject)
        lock_equipment()
        plan = plan_import(text, by)
        if plan.faults:
            raise invalid(plan.faults)
        write(plan)
    return report_of(plan)


def report_of(plan: Plan) -> ImportReport:
    """What a plan adds, in numbers."""
    return ImportReport(
        sites=len(plan.sites),
        machines=len(plan.machines),
        stations=len(plan.stations),
        slots=plan.slots,
        unchanged=plan.unchanged,
    )
