"""Sites a person may see."""

from typing import TYPE_CHECKING, Self

from django.db import models

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb

if TYPE_CHECKING:
    from stations.models import Site  # noqa: F401 - named in the quoted base


class SiteQuerySet(models.QuerySet["Site"]):
    """Questions about sites."""

    def covered_by(self, user: User, verb: Verb = Verb.EQUIPMENT_VIEW) -> Self:
        """Only the sites where this person may do this."""
        sites = covered_sites(user, verb)
        return self if sites is None else self.filter(pk__in=sites)
