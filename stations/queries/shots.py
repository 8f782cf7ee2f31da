"""Check shots a person may see, and those that are learnt from."""

from typing import TYPE_CHECKING, Self

from django.db import models

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb

if TYPE_CHECKING:
    from stations.models import CheckShot  # noqa: F401 - named in the quoted base


class CheckShotQuerySet(models.QuerySet["CheckShot"]):
    """Questions about check shots."""

    def covered_by(self, user: User, verb: Verb = Verb.SLOT_VIEW) -> Self:
        """Only shots at sites where this person may do this."""
        sites = covered_sites(user, verb)
        return self if sites is None else self.filter(site__in=sites)

    def counted(self) -> Self:
        """Shots that say something: none that was marked to be left out."""
        return self.filter(left_out=False)

    def of_content(self, content_digest: str) -> Self:
        """Shots pulled while settings from this signed content were in force, permits included."""
        return self.filter(placement__settings__content_digest=content_digest)

    def with_place(self) -> Self:
        """Shots with everything a list of them prints."""
        return self.select_related(
            "by", "site", "placement__settings", "slot__station__machine__site"
        )
