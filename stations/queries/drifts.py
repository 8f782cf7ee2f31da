"""Charts that signal, and for whom."""

from collections.abc import Iterable
from datetime import timedelta
from typing import TYPE_CHECKING, Self

from django.db import models
from django.db.models import Count, Exists, OuterRef
from django.db.models.functions import Now

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb

if TYPE_CHECKING:
    from stations.models import Drift  # noqa: F401 - named in the quoted base

LATELY = timedelta(days=14)  # older shots say nothing of today's cups


class DriftQuerySet(models.QuerySet["Drift"]):
    """Questions about drift."""

    def covered_by(self, user: User, verb: Verb = Verb.SLOT_VIEW) -> Self:
        """Only at sites where this person may do this."""
        sites = covered_sites(user, verb)
        return self if sites is None else self.filter(site__in=sites)

    def current(self) -> Self:
        """Of late, and of what a slot of that station still holds."""
        from stations.models import Placement  # noqa: PLC0415 - the model has this queryset

        holding = Placement.objects.in_force().filter(
            slot__station=OuterRef("station"),
            settings__content_digest=OuterRef("content_digest"),
        )
        return self.filter(Exists(holding), shot__at__gte=Now() - LATELY)

    def with_place(self) -> Self:
        """With everything a list of them prints, in reading order."""
        return self.select_related("station__machine__site", "shot").order_by(
            "site__name", "station__machine__name", "station__number", "code"
        )

    def stations_by_site(self, sites: Iterable[int] | None = None) -> dict[int, int]:
        """How many stations drift at each site where one does."""
        rows = self if sites is None else self.filter(site__in=sites)
        return dict(rows.order_by().values_list("site").annotate(Count("station", distinct=True)))
