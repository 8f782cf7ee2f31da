"""What publications have scheduled at a station that is measured anew.

It stays theirs: stopped, cancelled and brought into force with them. Its signature is that of
whoever accepts the calibration, who sees the new settings; the recipe was signed before, and says
nothing of pulses.
"""

from collections.abc import Sequence

from django.db import transaction
from django.db.models import F

from people.signatures.models import Signature
from recipes.planning.plan import PUBLICATION
from recipes.planning.signing import place_lines
from recipes.publishing.models import Publication, PublicationSite
from recipes.publishing.run import start
from recipes.recalibration.plan import RetranslationLine, RetranslationPlan
from stations.slots.models import Placement
from stations.slots.placing import Entitlement, give_way, lock_scheduled, name_successors


def hold_waiting(station_id: int) -> None:
    """Keep publications from being stopped, cancelled or run here until the transaction ends.

    Publications, placements, then slots: everybody takes them in this order.
    """
    waiting = Placement.objects.filter(slot__station=station_id, state=Placement.State.SCHEDULED)
    mine = sorted({pk for pk in waiting.values_list("basis_id", flat=True) if pk})
    rows = Publication.objects.filter(pk__in=mine).order_by("pk")
    list(rows.select_for_update(no_key=True).values_list("pk"))
    lock_scheduled(station_id)


def renew_waiting(plan: RetranslationPlan, signature: Signature) -> None:
    """Put what waits into its new settings, and withdraw what this station can't hold."""
    gone = [line.replaced.pk for line in (*plan.ahead, *plan.withdrawn)]
    if not gone:
        return
    give_way(gone)
    site_id = plan.calibration.station.machine.site_id
    for line in plan.ahead:
        was = line.replaced
        entitlement = Entitlement(
            was.basis, was.basis_id or 0, Placement.Manner.TAKES_OVER, signature
        )
        place_lines([line], entitlement, due={site_id: was.due_at})
    name_successors([line.replaced.pk for line in plan.ahead])
    _count_withdrawn(plan.withdrawn, site_id)
    for pk in {line.replaced.basis_id for line in plan.waiting}:
        transaction.on_commit(lambda pk=pk: start(pk), robust=True)  # type: ignore[misc]


def _count_withdrawn(lines: Sequence[RetranslationLine], site_id: int) -> None:
    """A publication is complete although these are not placed."""
    for line in lines:
        if line.replaced.basis == PUBLICATION.basis:
            PublicationSite.objects.filter(publication=line.replaced.basis_id, site=site_id).update(
                cancelled=F("cancelled") + 1
            )
