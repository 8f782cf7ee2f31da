"""Choosing one's own units."""

from audit.capture.context import recorded
from audit.errors import Subject
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User
from people.persons.standing import require_in_full
from people.persons.units import Masses, Temperatures
from web.checks import Checks

UNITS_CHOSEN = register("person.units_chosen", "Chose own units")


def choose_units(*, by: User, revision: int, temperatures: str, masses: str) -> None:
    """Show and take `by`'s figures in these units from now on; what is stored stays in °C and g.

    Raises Invalid naming the field, PinNotEnough, and Stale if `revision` is not the one now.
    """
    with recorded(by=by, action=UNITS_CHOSEN, subject=Subject("person", by.pk, by.name)):
        require_in_full(by, "choose your units")
        checks = Checks()
        warm = checks.choice("temperatures", temperatures, Temperatures.values)
        heavy = checks.choice("masses", masses, Masses.values)
        checks.done()
        me = User.objects.get(pk=by.pk)  # of a request it is no User, only becomes one
        compare_and_set(me, revision, temperatures=warm, masses=heavy)
