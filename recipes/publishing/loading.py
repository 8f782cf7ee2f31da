"""Whether the bars hold what was published: derived from what slots were read back to hold.

A publication is complete once everything is placed; it stays open until it is loaded as well.
"""

from collections.abc import Collection
from typing import Any

from django.db.models import Count, Q, QuerySet

from people.persons.models import User
from people.persons.verbs import Verb
from recipes.planning.plan import PUBLICATION
from recipes.publishing.models import Publication
from stations.slots.models import Placement

UNLOADED = Q(verdict__in=["unread", "differs"])


def tell(publications: Collection[Publication], user: User) -> None:
    """Set ``loaded`` and ``unloaded`` of each, at the sites this person may see: one query."""
    held = Placement.objects.covered_by(user, Verb.SLOT_VIEW).in_force().order_by()
    rows = (
        held.filter(basis=PUBLICATION.basis, basis_id__in=[each.pk for each in publications])
        .values_list("basis_id")
        .annotate(
            loaded=Count("pk", filter=Q(verdict="matches")), unloaded=Count("pk", filter=UNLOADED)
        )
    )
    counts = {basis_id: (loaded, unloaded) for basis_id, loaded, unloaded in rows}
    for each in publications:
        each.loaded, each.unloaded = counts.get(each.pk, (0, 0))


def unloaded_somewhere(user: User) -> "QuerySet[Any, Any]":
    """Ids of publications that some slot this person may see should hold, and doesn't yet."""
    held = Placement.objects.covered_by(user, Verb.SLOT_VIEW).in_force().order_by()
    mine = held.filter(UNLOADED, basis=PUBLICATION.basis)
    return mine.values_list("basis_id", flat=True).distinct()
