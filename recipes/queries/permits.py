"""Permits by when they end."""

from datetime import datetime
from typing import Any, Self

from django.db import models

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb


class PermitQuerySet(models.QuerySet[Any]):
    """Questions about permits."""

    def in_force(self) -> Self:
        """Still permitting, the soonest to end first."""
        return self.filter(state="in_force").order_by("ends_at")

    def ended_by(self, moment: datetime) -> Self:
        """In force although their end has come: the worker's list."""
        return self.in_force().filter(ends_at__lte=moment)

    def covered_by(self, user: User, verb: Verb = Verb.SLOT_VIEW) -> Self:
        """Only permits that name a slot at a site where this person may do this."""
        sites = covered_sites(user, verb)
        if sites is None:
            return self
        return self.filter(slots__slot__station__machine__site__in=sites).distinct()
