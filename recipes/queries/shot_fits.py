"""Fits of the shot model a person may see, and those that wait."""

from datetime import timedelta
from typing import TYPE_CHECKING, Self

from django.db import models
from django.db.models.functions import Now

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb

if TYPE_CHECKING:
    from recipes.models import ShotFit  # noqa: F401 - named in the quoted base


class ShotFitQuerySet(models.QuerySet["ShotFit"]):
    """Questions about fits."""

    def covered_by(self, user: User, verb: Verb = Verb.RECIPE_VIEW) -> Self:
        """Only fits at sites where this person may do this."""
        sites = covered_sites(user, verb)
        return self if sites is None else self.filter(station__machine__site__in=sites)

    def with_place(self) -> Self:
        """With everything a page prints."""
        return self.select_related(
            "station__machine__site", "version__recipe__coffee", "by"
        ).prefetch_related("version__formula")

    def waiting(self) -> Self:
        """Asked for and not finished."""
        return self.filter(state="waiting")

    def done(self) -> Self:
        """Finished with parameters."""
        return self.filter(state="done")

    def left_lying(self, after: timedelta) -> Self:
        """Waiting for longer than that: their worker was killed, or their message lost."""
        return self.waiting().filter(asked_at__lt=Now() - after)
