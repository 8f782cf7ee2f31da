"""Permits by when they end."""

from datetime import datetime
from typing import TYPE_CHECKING, Self

from django.db import models
from django.db.models import OuterRef, Prefetch, Subquery

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb

if TYPE_CHECKING:
    from recipes.models import Permit  # noqa: F401 - named in the quoted base


class PermitQuerySet(models.QuerySet["Permit"]):
    """Questions about permits."""

    def in_force(self) -> Self:
        """Still permitting, the soonest to end first."""
        return self.filter(state="in_force").order_by("ends_at")

    def ended_by(self, moment: datetime) -> Self:
        """In force although their end has come: the worker's list."""
        return self.in_force().filter(ends_at__lte=moment)

    def with_zone(self) -> Self:
        """Annotated with ``zone``: the time zone of the first site a permit names."""
        named = self.model._meta.get_field("slots").related_model._default_manager.filter(
            permit=OuterRef("pk")
        )
        return self.annotate(
            zone=Subquery(named.values("slot__station__machine__site__time_zone")[:1])
        )

    def covered_by(self, user: User, verb: Verb = Verb.SLOT_VIEW) -> Self:
        """Only permits that name a slot at a site where this person may do this."""
        sites = covered_sites(user, verb)
        if sites is None:
            return self
        return self.filter(slots__slot__station__machine__site__in=sites).distinct()

    def with_slots_for(self, user: User) -> Self:
        """With its changes, and with those of its slots that this person may see."""
        part = self.model._meta.get_field("slots").related_model
        sites = covered_sites(user, Verb.SLOT_VIEW)
        rows = part._default_manager.all()
        shown = rows if sites is None else rows.filter(slot__station__machine__site__in=sites)
        return self.prefetch_related(Prefetch("slots", shown), "changes")
