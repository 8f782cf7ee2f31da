"""Water readings a person may see."""

from typing import TYPE_CHECKING, Self

from django.db import models

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb

if TYPE_CHECKING:
    from stations.models import WaterReading  # noqa: F401 - named in the quoted base


class WaterReadingQuerySet(models.QuerySet["WaterReading"]):
    """Questions about water."""

    def covered_by(self, user: User, verb: Verb = Verb.EQUIPMENT_VIEW) -> Self:
        """Only readings of sites where this person may do this."""
        sites = covered_sites(user, verb)
        return self if sites is None else self.filter(site__in=sites)

    def newest_of_each_site(self) -> Self:
        """One reading for each site: the newest."""
        return self.order_by("site_id", "-taken_on", "-id").distinct("site_id")
