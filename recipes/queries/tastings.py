"""Tastings a person may see."""

from typing import TYPE_CHECKING, Self

from django.db import models

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb

if TYPE_CHECKING:
    from recipes.models import Tasting  # noqa: F401 - named in the quoted base


class TastingQuerySet(models.QuerySet["Tasting"]):
    """Questions about tastings."""

    def covered_by(self, user: User, verb: Verb = Verb.RECIPE_VIEW) -> Self:
        """Only tastings at sites where this person may do this."""
        sites = covered_sites(user, verb)
        return self if sites is None else self.filter(site__in=sites)

    def with_all(self) -> Self:
        """With everything a page prints."""
        return self.select_related(
            "site", "planned_by", "base__recipe__coffee", "other__recipe__coffee",
            "for_request", "for_version__recipe__coffee",
        ).prefetch_related("answers")  # fmt: skip
