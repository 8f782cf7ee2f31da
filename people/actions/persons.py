"""Adding, changing and ending people. Nobody is deleted: their signatures stay readable."""

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db.models import F
from django.utils import timezone

from audit.context import recorded
from audit.errors import Invalid, Refused
from audit.revision import compare_and_set
from audit.subject import Subject
from people import history
from people.actions.owners import keeping_an_owner
from people.models import ApiToken, User
from people.permissions import require_everywhere
from people.verbs import Verb


def create_person(*, by: User | None, email: str, name: str) -> User:
    """Add a person, without a password yet (people.invitations has the link to set one).

    `by` None is the console, which adds the first owner. Raises Invalid (email, name) and
    NotPermitted.
    """
    with recorded(by=by, action=history.PERSON_ADDED):
        if by:
            require_everywhere(by, Verb.PEOPLE_MANAGE)
        person = User(email=_email(email), name=_name(name))
        _be_the_only_one(person)
        person.set_unusable_password()
        person.save(force_insert=True)
    return person


def change_person(*, by: User, person: User, email: str, name: str, expected: int) -> None:
    """Change the printed name or the address to sign in with.

    Raises Invalid (email, name), NotPermitted, and Stale if `expected` is not the revision now.
    """
    with recorded(by=by, action=history.PERSON_CHANGED, subject=subject_of(person)):
        require_everywhere(by, Verb.PEOPLE_MANAGE)
        typed = User(pk=person.pk, email=_email(email), name=_name(name))
        _be_the_only_one(typed)
        compare_and_set(person, expected, email=typed.email, name=typed.name)


def deactivate_person(*, by: User, person: User, expected: int) -> None:
    """End somebody's sign-in and, for good, sessions and tokens; what they did and signed stays.

    Raises NotPermitted, Stale, and Refused for oneself and for the last owner.
    """
    with recorded(by=by, action=history.PERSON_DEACTIVATED, subject=subject_of(person)):
        require_everywhere(by, Verb.PEOPLE_MANAGE)
        if person.pk == by.pk:
            raise Refused("You cannot end your own sign-in: another owner has to.")
        with keeping_an_owner():
            now = timezone.now()
            compare_and_set(person, expected, is_active=False, signed_out_at=now)
        valid = ApiToken.objects.filter(user=person, revoked_at=None)
        valid.update(revoked_at=now, revision=F("revision") + 1)


def reactivate_person(*, by: User, person: User, expected: int) -> None:
    """Let somebody sign in again, with the roles they had; no session or token of then counts.

    Raises NotPermitted, Stale.
    """
    with recorded(by=by, action=history.PERSON_REACTIVATED, subject=subject_of(person)):
        require_everywhere(by, Verb.PEOPLE_MANAGE)
        compare_and_set(person, expected, is_active=True)


def subject_of(person: User) -> Subject:
    """The person as the history names them."""
    return Subject("person", person.pk, person.name)


def _email(typed: str) -> str:
    email = typed.strip().lower()
    allowed = "an e-mail address such as lead@example.com, at most 254 characters"
    # Python and the database do not agree on what is lower case in every script there is.
    if len(email) > 254 or not email.isascii():
        raise Invalid("email", typed, allowed)
    try:
        validate_email(email)
    except ValidationError as bad:
        raise Invalid("email", typed, allowed) from bad
    return email


def _name(typed: str) -> str:
    name = " ".join(typed.split())
    if not 1 <= len(name) <= 80 or not name.isprintable():
        raise Invalid("name", typed, "1 to 80 printable characters")
    return name


def _be_the_only_one(person: User) -> None:
    """A friendly answer; the unique column decides between two who ask at the same moment."""
    if User.objects.filter(email=person.email).exclude(pk=person.pk).exists():
        raise Invalid("email", person.email, "an address that nobody here has yet")
