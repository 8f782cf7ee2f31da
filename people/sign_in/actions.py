"""Ending somebody's sign-in, and allowing it again."""

from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Refused
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.actions import keeping_an_owner, subject_of
from people.persons.models import User
from people.persons.permissions import require_everywhere
from people.persons.verbs import Verb
from people.pins.actions import forget_pin
from people.sign_in.models import End
from people.sign_in.sessions import end_all
from people.tokens.actions import revoke_all

PERSON_DEACTIVATED = register("person.deactivated", "Ended sign-in")
FACTOR_USED = register("person.factor_used", "Used a second factor")
PERSON_REACTIVATED = register("person.reactivated", "Allowed sign-in again")


def deactivate_person(*, by: User, person: User, revision: int) -> None:
    """End somebody's sign-in and, for good, sessions, tokens and PIN. What they signed stays.

    Raises NotPermitted, Stale, and Refused for oneself and for the last owner.
    """
    with recorded(by=by, action=PERSON_DEACTIVATED, subject=subject_of(person)):
        require_everywhere(by, Verb.PEOPLE_MANAGE)
        if person.pk == by.pk:
            raise Refused("You can't end your own sign-in: another owner has to.")
        with keeping_an_owner():
            compare_and_set(person, revision, is_active=False, signed_out_at=timezone.now())
        revoke_all(person=person, reason="Their sign-in was ended.")
        forget_pin(person)
        end_all(person, End.DEACTIVATED)


def reactivate_person(*, by: User, person: User, revision: int) -> None:
    """Let somebody sign in again, with the roles they had; no session or token of then counts.

    Raises NotPermitted, Stale.
    """
    with recorded(by=by, action=PERSON_REACTIVATED, subject=subject_of(person)):
        require_everywhere(by, Verb.PEOPLE_MANAGE)
        compare_and_set(person, revision, is_active=True)
