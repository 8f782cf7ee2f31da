"""Calibrations a person may see, and those that are due."""

from datetime import date
from typing import TYPE_CHECKING, Self

from django.db import models
from django.db.models import Exists, OuterRef

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb

if TYPE_CHECKING:
    from stations.models import Calibration  # noqa: F401 - named in the quoted base


class CalibrationQuerySet(models.QuerySet["Calibration"]):
    """Questions about calibrations."""

    def covered_by(self, user: User, verb: Verb = Verb.EQUIPMENT_VIEW) -> Self:
        """Only those at sites where this person may do this."""
        sites = covered_sites(user, verb)
        return self if sites is None else self.filter(station__machine__site__in=sites)

    def at_sites(self, sites: frozenset[int] | None) -> Self:
        """Only at these; None means everywhere."""
        return self if sites is None else self.filter(station__machine__site__in=sites)

    def with_place(self) -> Self:
        """With everything a list of them prints."""
        return self.select_related("station__machine__site", "recorded_by", "decided_by")

    def waiting(self) -> Self:
        """Recorded and not decided."""
        return self.filter(state="proposed")

    def newest_accepted(self) -> Self:
        """The one that counts, for each station and kind."""
        same = {name: OuterRef(name) for name in ("station", "kind")}
        newer = type(self)(self.model).filter(
            **same, state="accepted", decided_at__gt=OuterRef("decided_at")
        )
        return self.filter(~Exists(newer), state="accepted")

    def due_by(self, day: date) -> Self:
        """Those that count and have to be repeated by that day."""
        return self.newest_accepted().filter(due_on__lte=day)
