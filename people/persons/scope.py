"""Rows of the sites that a person's roles cover: what every list asks, written once."""

from typing import ClassVar, Self, TypeVar

from django.contrib.auth.models import AnonymousUser
from django.db.models import Model, QuerySet

from people.persons.models import User
from people.persons.permissions import covered_sites
from people.persons.verbs import Verb

M = TypeVar("M", bound=Model)


class SiteScoped(QuerySet[M]):
    """Inherit it in the queryset of whatever belongs to a site.

    `site_path` leads from a row to its site, as a filter writes it; `view_verb` is what somebody
    must be allowed to do there to see the row.
    """

    site_path: ClassVar[str] = "site"
    view_verb: ClassVar[Verb] = Verb.EQUIPMENT_VIEW

    def covered_by(self, user: User | AnonymousUser, verb: Verb | None = None) -> Self:
        """Only rows of sites where this person may do this; see them, where no verb is named."""
        return self.at_sites(covered_sites(user, verb or self.view_verb))

    def at_sites(self, sites: frozenset[int] | None) -> Self:
        """Only rows of these sites; None means everywhere."""
        return self if sites is None else self.filter(**{f"{self.site_path}__in": sites})
