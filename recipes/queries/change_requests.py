"""Change requests by who has to do something about them."""

from typing import TYPE_CHECKING, Self

from django.db import models

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb

if TYPE_CHECKING:
    from recipes.models import ChangeRequest  # noqa: F401 - named in the quoted base


class ChangeRequestQuerySet(models.QuerySet["ChangeRequest"]):
    """Questions about change requests."""

    def covered_by(self, user: User, verb: Verb = Verb.RECIPE_VIEW) -> Self:
        """Only requests from sites where this person may do this."""
        sites = covered_sites(user, verb)
        return self if sites is None else self.filter(site__in=sites)

    def with_base(self) -> Self:
        """With the version, its recipe, site and people at hand."""
        return self.select_related("base__recipe__coffee", "site", "author", "decided_by")

    def waiting(self) -> Self:
        """Open, the oldest first."""
        return self.filter(state="open").order_by("made_at")

    def settled(self) -> Self:
        """Accepted, declined or taken back, the newest first."""
        return self.exclude(state__in=["open", "asked_back"]).order_by("-id")

    def unsettled(self) -> Self:
        """Open or asked back."""
        return self.filter(state__in=["open", "asked_back"]).order_by("made_at")
