"""May this person do that, there? Asked inside every action, and by pages to hide what is not."""

from collections.abc import Collection, Iterable
from enum import StrEnum

from django.contrib.auth.models import AnonymousUser

from audit.errors import NotPermitted, Subject
from people.persons.models import Assignment, User
from people.persons.verbs import MAY, Role, Verb, roles_for
from web.access import access

ASK = "Ask one of them to do it, or an owner to change your roles."


def may(user: User | AnonymousUser, verb: Verb, site_id: int | None = None) -> bool:
    """Whether some role of theirs allows the verb, at that site where one is named.

    Without a site the verb is about no one site, and the role counts wherever it is held.
    Remembers the roles for as long as the user object lives (one request).
    """
    return _first(_remembered(user), verb, site_id) is not None


def require(
    user: User, verb: Verb, site_id: int | None = None, subject: Subject | None = None
) -> Role:
    """The role that allows it, read anew. Raises NotPermitted: who may, and how to ask."""
    role = _first(_held(user), verb, site_id)
    if role is None:
        raise _refusal(verb, "there" if site_id else "", subject, site_id)
    return role


def require_everywhere(user: User, verb: Verb, subject: Subject | None = None) -> Role:
    """As require, for what concerns all sites at once: only a role that covers them all counts."""
    role = _first([a for a in _held(user) if a.site_id is None], verb, None)
    if role is None:
        raise _refusal(verb, "for all sites", subject, None)
    return role


def require_at_each(
    user: User, verb: Verb, sites: Collection[int], subject: Subject | None = None
) -> None:
    """As require, for what reaches several sites: each must be covered by a role that allows it."""
    held = {a.site_id for a in _held(user) if a.role in MAY[verb]}
    if not held:
        raise _refusal(verb, "", subject, None)
    if None not in held and not held.issuperset(sites):
        raise _refusal(verb, "at every site it concerns", subject, None)


def role_for(user: User, verb: Verb, site_id: int | None = None) -> Role:
    """The role used for the verb, as it is printed in signatures. Raises NotPermitted."""
    return require(user, verb, site_id)


def may_at_each(user: User | AnonymousUser, verb: Verb, sites: Collection[int]) -> bool:
    """Whether they may do what reaches all these sites."""
    covered = covered_sites(user, verb)
    return covered is None or (bool(covered) and covered.issuperset(sites))


def may_everywhere(user: User | AnonymousUser, verb: Verb) -> bool:
    """Whether they may do what concerns all sites at once."""
    return covered_sites(user, verb) is None


def covered_sites(user: User | AnonymousUser, verb: Verb) -> frozenset[int] | None:
    """The sites where they may do it, for filtering lists; None means all of them."""
    sites = {a.site_id for a in _remembered(user) if a.role in MAY[verb]}
    return None if None in sites else frozenset(pk for pk in sites if pk is not None)


def roles_at(user: User, site_id: int | None) -> list[Role]:
    """Every role held that counts at that site (None: anywhere), in the table's order.

    As remembered: a query here would be one more in every action, only to be read.
    """
    held = {a.role for a in _remembered(user) if site_id is None or a.site_id in (None, site_id)}
    return [role for role in Role if role in held]


def forget_roles(user: User) -> None:
    """After a change of roles: the next question reads them anew."""
    vars(user).pop("_roles_held", None)


def answer_pages() -> None:
    """Tell pages and endpoints whom to ask. Called once, when the program starts."""

    def anywhere(user: User, verb: StrEnum, site_id: int | None = None) -> None:
        require(user, Verb(verb), site_id)

    def everywhere(user: User, verb: StrEnum) -> None:
        require_everywhere(user, Verb(verb))

    access.require, access.require_everywhere = anywhere, everywhere


def _first(held: Iterable[Assignment], verb: Verb, site_id: int | None) -> Role | None:
    fits = {
        a.role
        for a in held
        if a.role in MAY[verb] and (site_id is None or a.site_id in (None, site_id))
    }
    return next((role for role in Role if role in fits), None)


def _held(user: User | AnonymousUser) -> list[Assignment]:
    """None for the unknown; and being deactivated counts at once, not at the next sign-in."""
    if not user.is_authenticated:
        return []
    held = list(Assignment.objects.filter(user_id=user.pk, user__is_active=True))
    vars(user)["_roles_held"] = held
    return held


def _remembered(user: User | AnonymousUser) -> list[Assignment]:
    if not user.is_authenticated:
        return []
    held: list[Assignment] | None = vars(user).get("_roles_held")
    return _held(user) if held is None else held


def _refusal(verb: Verb, where: str, subject: Subject | None, site_id: int | None) -> NotPermitted:
    return NotPermitted(
        f"Your roles do not allow “{verb.words}”{f' {where}' if where else ''}.",
        who_may=roles_for(verb),
        how_to_ask=ASK,
        subject=subject,
        site_id=site_id,
    )
