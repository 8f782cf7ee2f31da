"""Placements by what they are waiting for."""

from typing import TYPE_CHECKING, Any, Self

from django.db import models
from django.db.models import Count, Q

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb

if TYPE_CHECKING:
    from stations.models import Placement  # noqa: F401 - named in the quoted base


class PlacementQuerySet(models.QuerySet["Placement"]):
    """Questions about placements."""

    def covered_by(self, user: User, verb: Verb = Verb.SLOT_VIEW) -> Self:
        """Only placements at sites where this person may do this."""
        sites = covered_sites(user, verb)
        return self if sites is None else self.filter(site__in=sites)

    def in_force(self) -> Self:
        """What slots should hold now."""
        return self.filter(state="in_force")

    def differing(self) -> Self:
        """In force, read back, and found to be something else."""
        return self.in_force().filter(verdict="differs")

    def to_load(self) -> Self:
        """In force and signed, but not read back since."""
        return self.in_force().filter(verdict="unread").exclude(basis="by_hand")

    def with_place(self) -> Self:
        """Placements with everything a list of them prints, in reading order."""
        return self.select_related(
            "settings", "signature", "site", "slot__station__machine__site"
        ).order_by("site__name", "slot__station__machine__name", "slot__station__number", "slot")

    def board(self) -> "models.QuerySet[Any, Any]":
        """Per site: how many slots match, differ, wait to be loaded, are on permit or by hand."""
        signed = ~Q(basis="by_hand")
        return (
            self.in_force()
            .values("site")
            .annotate(
                matches=Count("pk", filter=signed & Q(verdict="matches")),
                differs=Count("pk", filter=Q(verdict="differs")),
                to_load=Count("pk", filter=signed & Q(verdict="unread")),
                on_permit=Count("pk", filter=Q(basis="permit")),
                by_hand=Count("pk", filter=Q(basis="by_hand")),
            )
            .order_by("site")
        )
