"""Adding and changing people and their roles. Nobody is deleted: their signatures stay readable."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.dispatch import Signal
from django.urls import reverse

from audit.alarms import Alarm, register_alarm
from audit.capture.context import recorded
from audit.errors import Invalid, NotFound, Refused, Subject
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import Assignment, User, all_sites
from people.persons.permissions import require, require_everywhere
from people.persons.verbs import Role, Verb
from web.text import line_of

PERSON_ADDED = register("person.added", "Added person")
PERSON_CHANGED = register("person.changed", "Changed person")
ROLE_ASSIGNED = register("role.assigned", "Gave role")
ROLE_REMOVED = register("role.removed", "Took role away")

role_removed = Signal()
"""Sent with the person, in the transaction that took a role of theirs away."""


# Somebody has to be able to let people in: the last owner stays.


@contextmanager
def keeping_an_owner() -> Iterator[None]:
    """Run a change that may cost an owner; raises Refused if none of all sites would be left.

    Owners' rows are locked before the change, all in one order: of two who each take the other's
    role away, one waits, then sees what the first left behind.
    """
    owners = Assignment.objects.filter(role=Role.OWNER, site=None)
    list(owners.order_by("pk").select_for_update().values_list("pk"))
    yield
    if not owners.filter(user__is_active=True).exists():
        raise Refused(
            "This would leave no owner of all sites who can sign in.",
            who_may="an owner",
            how_to_ask="Make somebody else an owner first.",
        )


def create_person(*, by: User | None, email: str, name: str) -> User:
    """Add a person, without a password yet (people.persons.invitations has the link to set one).

    `by` None is the console, which adds the first owner. Raises Invalid (email, name) and
    NotPermitted.
    """
    with recorded(by=by, action=PERSON_ADDED):
        if by:
            require_everywhere(by, Verb.PEOPLE_MANAGE)
        person = User(email=_email(email), name=line_of("name", name, 80))
        _be_the_only_one(person)
        person.set_unusable_password()
        person.save(force_insert=True)
    return person


def change_person(*, by: User, person: User, revision: int, email: str, name: str) -> None:
    """Change the printed name or the address to sign in with.

    Raises Invalid (email, name), NotPermitted, and Stale if `revision` is not the one now.
    """
    with recorded(by=by, action=PERSON_CHANGED, subject=subject_of(person)):
        require_everywhere(by, Verb.PEOPLE_MANAGE)
        typed = User(pk=person.pk, email=_email(email), name=line_of("name", name, 80))
        _be_the_only_one(typed)
        compare_and_set(person, revision, email=typed.email, name=typed.name)


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


def _be_the_only_one(person: User) -> None:
    """A friendly answer; unique columns decide between two who ask at the same moment."""
    if User.objects.filter(email=person.email).exclude(pk=person.pk).exists():
        raise Invalid("email", person.email, "an address that nobody here has yet")
    alike = User.objects.alike(person.name).exclude(pk=person.pk).first()
    if alike:
        words = f"a name that can't be read as another's here: “{alike.name}” is there already"
        raise Invalid("name", person.name, words)


@register_alarm
def names_alike() -> Iterator[Alarm]:
    """Names of before the rule that read like another's: they stay until an owner changes them."""
    for person in User.objects.filter(name_folded=None):
        words = f"The name “{person.name}” can be read as another person's: change one of them."
        yield Alarm(words, reverse("people:edit", args=[person.pk]))


# Giving and taking roles.


def assign_role(
    *, by: User | None, person: User, role: str, site_id: int | None = None
) -> Assignment:
    """Give a role at one site, or at every site (None).

    `by` None is the console. Raises Invalid (role, site) and NotPermitted: an owner of one site
    gives roles at that site only.
    """
    with recorded(by=by, action=ROLE_ASSIGNED, subject=subject_of(person), site_id=site_id):
        if by:
            _require_at(by, site_id)
        if role not in Role.values:
            raise Invalid("role", role, "one of " + ", ".join(Role.values))
        _check_site(site_id)
        assignment, made = Assignment.objects.get_or_create(
            user=person,
            role=role,
            site_id=site_id,  # type: ignore[misc]  # None is asked for as NULL
        )
        if not made:
            raise Invalid("role", Role(role).label, "a role this person does not have there yet")
    person.forget_roles()
    return assignment


def remove_assignment(*, by: User, assignment: Assignment) -> None:
    """Take a role away. Raises NotPermitted, NotFound, and Refused for the last owner's."""
    person = assignment.user
    with recorded(
        by=by,
        action=ROLE_REMOVED,
        subject=subject_of(person),
        site_id=assignment.site_id,
    ):
        _require_at(by, assignment.site_id)
        with keeping_an_owner():
            if not Assignment.objects.filter(pk=assignment.pk).delete()[0]:
                raise NotFound("This role has been taken away already.")
        person.forget_roles()
        role_removed.send(User, person=person)


def _require_at(by: User, site_id: int | None) -> None:
    if site_id is None:
        require_everywhere(by, Verb.PEOPLE_MANAGE)
    else:
        require(by, Verb.PEOPLE_MANAGE, site_id)


def _check_site(site_id: int | None) -> None:
    if site_id is not None and not all_sites().filter(pk=site_id).exists():
        raise Invalid("site", site_id, "one of the sites, or none for all of them")
