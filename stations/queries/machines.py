"""Machines a person may see."""

from typing import Any, Self

from django.db import models

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb


class MachineQuerySet(models.QuerySet[Any]):
    """Questions about machines."""

    def covered_by(self, user: User, verb: Verb = Verb.EQUIPMENT_VIEW) -> Self:
        """Only machines at sites where this person may do this."""
        sites = covered_sites(user, verb)
        return self if sites is None else self.filter(site__in=sites)
