"""Publications by what is left to do."""

from typing import TYPE_CHECKING, Self

from django.db import models
from django.db.models import Max, Min, Prefetch, Q, Sum

from people.models import User
from people.permissions import covered_sites
from people.verbs import Verb

if TYPE_CHECKING:
    from recipes.models import Publication  # noqa: F401 - named in the quoted base


class PublicationQuerySet(models.QuerySet["Publication"]):
    """Questions about publications."""

    def under_way(self) -> Self:
        """Signed and not complete, stopped ones included."""
        return self.filter(state__in=["running", "stopped"])

    def reaching(self, user: User) -> Self:
        """Those that go to a site this person may see."""
        covered = covered_sites(user, Verb.SLOT_VIEW)
        if covered is None:
            return self
        part = self.model._meta.get_field("sites").related_model
        return self.filter(
            pk__in=part._default_manager.filter(site__in=covered).values("publication")
        )

    def with_progress_for(self, user: User) -> Self:
        """Annotated with ``slots`` and ``placed`` (counts), ``first_due`` and ``last_due``.

        Of the sites that this person may see, as `with_sites_for`.
        """
        covered = covered_sites(user, Verb.SLOT_VIEW)
        seen = None if covered is None else Q(sites__site__in=covered)
        return self.annotate(
            slots=Sum("sites__slots", filter=seen),
            placed=Sum("sites__placed", filter=seen),
            first_due=Min("sites__due_at", filter=seen),
            last_due=Max("sites__due_at", filter=seen),
        )

    def with_version(self) -> Self:
        """With version, recipe, author and signature at hand."""
        return self.select_related("version__recipe__coffee", "author", "signature")

    def with_sites_for(self, user: User) -> Self:
        """With the progress at those of their sites that this person may see."""
        part = self.model._meta.get_field("sites").related_model
        rows = part._default_manager.select_related("site").order_by("due_at", "site__name")
        covered = covered_sites(user, Verb.SLOT_VIEW)
        shown = rows if covered is None else rows.filter(site__in=covered)
        return self.prefetch_related(Prefetch("sites", shown))
