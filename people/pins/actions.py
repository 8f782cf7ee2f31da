"""Setting one's PIN, and taking one away."""

from django.dispatch import Signal
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import UNSHOWN, Invalid, NotFound
from audit.vocabulary import register
from people.persons.actions import subject_of
from people.persons.models import User
from people.persons.somebodys import require_over
from people.persons.standing import require_in_full
from people.pins.common import ALLOWED, easily_guessed, well_formed
from people.pins.hashing import hashed
from people.pins.models import Pin

PIN_SET = register("pin.set", "Set own PIN")
PIN_REMOVED = register("pin.removed", "Removed PIN")

pin_moved = Signal()
"""Sent with the person, in the transaction that set their PIN anew or took it away."""


def set_pin(*, by: User, digits: str) -> None:
    """One's own PIN, instead of any before; what was open by that one ends.

    Raises Invalid (pin), PinNotEnough.
    """
    with recorded(by=by, action=PIN_SET, subject=subject_of(by)):
        require_in_full(by, "set a PIN", subject_of(by))
        if not well_formed(digits) or easily_guessed(digits):
            raise Invalid("pin", UNSHOWN, ALLOWED)
        kept = {"secret": hashed(by.pk, digits), "set_at": timezone.now()}
        Pin.objects.update_or_create(user=by, defaults=kept)
        pin_moved.send(User, person=by)


def remove_pin(*, by: User, person: User) -> None:
    """One's own, or anybody's as the owner of all sites. What is open by it ends.

    Raises NotPermitted, and NotFound if there is none.
    """
    with recorded(by=by, action=PIN_REMOVED, subject=subject_of(person)):
        require_over(by, person.pk, "remove a PIN", subject_of(person))
        if not forget_pin(person):
            raise NotFound("There is no PIN.")


def forget_pin(person: User) -> bool:
    """Inside the action that is the cause of it; whether there was one."""
    found = bool(Pin.objects.filter(user=person).delete()[0])
    if found:
        pin_moved.send(User, person=person)
    return found
