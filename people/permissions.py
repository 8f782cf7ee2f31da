"""May this person do that, there? Asked inside every action, and by pages to hide what is not."""

from typing import TYPE_CHECKING

from audit.errors import NotPermitted
from audit.subject import Subject
from people.models import Assignment, User
from people.roles import Role
from people.verbs import MAY, Verb, roles_for

if TYPE_CHECKING:
    from collections.abc import Iterable


def may(user: User, verb: Verb, site_id: int | None = None) -> bool:
    """Whether some role of theirs allows the verb, at that site where one is named.

    Without a site the verb is about no one site, and the role counts wherever it is held.
    """
    return _role(user, verb, site_id) is not None


def require(
    user: User, verb: Verb, site_id: int | None = None, subject: Subject | None = None
) -> Role:
    """The role that allows it. Raises NotPermitted, saying who may and how to ask."""
    role = _role(user, verb, site_id)
    if role is None:
        raise NotPermitted(
            f"Your roles do not allow this ({verb}).",
            who_may=roles_for(verb),
            how_to_ask="Ask one of them, or ask an owner to change your roles.",
            subject=subject,
            site_id=site_id,
        )
    return role


def role_for(user: User, verb: Verb, site_id: int | None = None) -> Role:
    """The role used for the verb, as it is printed in signatures. Raises NotPermitted."""
    return require(user, verb, site_id)


def covered_sites(user: User, verb: Verb) -> frozenset[int] | None:
    """The sites where they may do it, for filtering lists; None means all of them."""
    sites = {assignment.site_id for assignment in _allowing(user, verb)}
    return None if None in sites else frozenset(pk for pk in sites if pk is not None)


def _role(user: User, verb: Verb, site_id: int | None) -> Role | None:
    held = {
        assignment.role
        for assignment in _allowing(user, verb)
        if site_id is None or assignment.site_id in (None, site_id)
    }
    return next((role for role in Role if role in held), None)


def _allowing(user: User, verb: Verb) -> "Iterable[Assignment]":
    """Their assignments whose role allows the verb; none for somebody deactivated or unknown."""
    if not (user.is_authenticated and user.is_active):
        return []
    return [a for a in _assignments(user) if a.role in MAY[verb]]


def _assignments(user: User) -> list[Assignment]:
    """Read once for each request's user object; the actions read the user anew."""
    held: list[Assignment] | None = getattr(user, "_held_assignments", None)
    if held is None:
        held = list(Assignment.objects.filter(user_id=user.pk))
        user._held_assignments = held  # type: ignore[attr-defined]
    return held
