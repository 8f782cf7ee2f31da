"""May this person do that, there? Asked inside every action, and by pages to hide what is not."""

from collections.abc import Collection, Mapping
from enum import StrEnum
from typing import ClassVar, Self, TypeVar

from django.contrib.auth.models import AnonymousUser
from django.db.models import Model, QuerySet

from audit.errors import NotPermitted, Subject
from people.persons.models import User
from people.persons.standing import (
    AT_TABLET,
    NOT_BY_PIN,
    PinNotEnough,
    in_full,
    require_in_full,
    standing_of,
)
from people.persons.verbs import Held, Role, Verb, first_role, roles_for, sites_where
from web.access import access
from web.lookup import Outside

ASK = "Ask one of them to do it, or an owner to change your roles."


def may(user: User | AnonymousUser, verb: Verb, site_id: int | None = None) -> bool:
    """Whether some role of theirs allows the verb, at that site where one is named.

    Without a site the verb is about no one site, and the role counts wherever it is held.
    Remembers the roles for as long as the user object lives (one request).
    """
    return first_role(_remembered(user), verb, site_id) is not None


def require(
    user: User, verb: Verb, site_id: int | None = None, subject: Subject | None = None
) -> Role:
    """The role that allows it, read anew. Raises NotPermitted: who may, and how to ask."""
    role = first_role(_read(user), verb, site_id)
    if role is None:
        if first_role(in_full(_read(user)), verb, site_id):
            raise _needs_more(verb, subject, site_id)
        raise _refusal(user, verb, "there" if site_id else "", subject, site_id)
    return role


def require_everywhere(user: User, verb: Verb, subject: Subject | None = None) -> Role:
    """As require, for what concerns all sites at once: only a role that covers them all counts."""
    role = first_role([a for a in _read(user) if a.site_id is None], verb, None)
    if role is None:
        raise _refusal(user, verb, "for all sites", subject, None)
    return role


def require_at_each(
    user: User, verb: Verb, sites: Collection[int], subject: Subject | None = None
) -> None:
    """As require, for what reaches several sites: each must be covered by a role that allows it."""
    held = _read(user)
    covered = sites_where(held, verb)
    if covered is not None and not covered:
        if sites_where(in_full(held), verb):
            raise _needs_more(verb, subject, None)
        raise _refusal(user, verb, "", subject, None)
    if covered is not None and not covered.issuperset(sites):
        raise _refusal(user, verb, "at every site it concerns", subject, None)


def may_at_each(user: User | AnonymousUser, verb: Verb, sites: Collection[int]) -> bool:
    """Whether they may do what reaches all these sites."""
    covered = covered_sites(user, verb)
    return covered is None or (bool(covered) and covered.issuperset(sites))


def may_everywhere(user: User | AnonymousUser, verb: Verb) -> bool:
    """Whether they may do what concerns all sites at once."""
    return covered_sites(user, verb) is None


def covered_sites(user: User | AnonymousUser, verb: Verb) -> frozenset[int] | None:
    """The sites where they may do it, for filtering lists; None means all of them."""
    return sites_where(_remembered(user), verb)


def answer_pages() -> None:
    """Tell pages and endpoints whom to ask. Called once, when the program starts."""

    def anywhere(user: User, verb: StrEnum, site_id: int | None = None) -> None:
        require(user, Verb(verb), site_id)

    def everywhere(user: User, verb: StrEnum) -> None:
        require_everywhere(user, Verb(verb))

    access.require, access.require_everywhere = anywhere, everywhere
    access.require_in_full = require_in_full


def _read(user: User | AnonymousUser) -> list[Held]:
    return user.roles_held(anew=True) if isinstance(user, User) else []


def _remembered(user: User | AnonymousUser) -> list[Held]:
    return user.roles_held() if isinstance(user, User) else []


def _needs_more(verb: Verb, subject: Subject | None, site_id: int | None) -> NotPermitted:
    return PinNotEnough(
        f"A PIN is not enough to {verb.words}.",
        who_may=roles_for(verb),
        how_to_ask=NOT_BY_PIN,
        subject=subject,
        site_id=site_id,
    )


def _refusal(
    user: User | AnonymousUser,
    verb: Verb,
    where: str,
    subject: Subject | None,
    site_id: int | None,
) -> NotPermitted:
    at_tablet = standing_of(user.pk) is not None
    return NotPermitted(
        f"Your roles do not allow “{verb.words}”{f' {where}' if where else ''}"
        f"{' at this tablet' if at_tablet else ''}.",
        who_may=roles_for(verb),
        how_to_ask=AT_TABLET if at_tablet else ASK,
        subject=subject,
        site_id=site_id,
    )


# Rows of the sites that a person's roles cover: what every list asks, written once.


M = TypeVar("M", bound=Model)
MOST_PLACES = 1_000  # slots of one permit that are looked at


class SiteScoped(QuerySet[M]):
    """Inherit it in the queryset of whatever belongs to a site.

    `site_path` leads from a row to its site, as a filter writes it; `view_verb` is what somebody
    must be allowed to do there to see the row.
    """

    asked_by: User | None = None  # for whom they were narrowed, and to which sites
    covered: frozenset[int] = frozenset()
    site_path: ClassVar[str] = "site"
    view_verb: ClassVar[Verb] = Verb.EQUIPMENT_VIEW

    def covered_by(self, user: User | AnonymousUser, verb: Verb | None = None) -> Self:
        """Only rows of sites where this person may do this; see them, where no verb is named."""
        covered = covered_sites(user, verb or self.view_verb)
        rows = self.at_sites(covered)
        if covered is not None and isinstance(user, User):
            rows.asked_by, rows.covered = user, covered
        return rows

    def at_sites(self, sites: frozenset[int] | None) -> Self:
        """Only rows of these sites; None means everywhere."""
        return self if sites is None else self.filter(**{f"{self.site_path}__in": sites})

    def outside(self, by: Mapping[str, object]) -> Outside | None:
        """What these conditions name, if it was left out because of the site it lies at."""
        if self.asked_by is None:
            return None
        places = self.model._base_manager.filter(**by).values_list("pk", self.site_path)
        found = list(places.order_by("pk")[:MOST_PLACES])
        if not found or any(site in self.covered for _, site in found):
            return None
        pk, site_id = found[0]
        label = str(self.model._base_manager.get(pk=pk))
        subject = Subject(str(self.model._meta.verbose_name), pk, label)
        return Outside(self.asked_by, subject, site_id)

    def _clone(self) -> Self:
        rows: Self = super()._clone()  # type: ignore[misc]  # Django's own way, not in its stubs
        rows.asked_by, rows.covered = self.asked_by, self.covered
        return rows
