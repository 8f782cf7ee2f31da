"""The moments that slots of a site wait for."""

from datetime import datetime

from django.db.models import Count, Min
from django.db.models.functions import Now

from stations.equipment.moments import register_waiting
from stations.slots.models import Placement


@register_waiting
def waiting_at(site_id: int) -> tuple[int, datetime | None]:
    """How many slots are to hold something else from a later moment on, and the first such."""
    rows = Placement.objects.filter(site=site_id, state="scheduled", due_at__gt=Now())
    found = rows.aggregate(slots=Count("slot", distinct=True), first=Min("due_at"))
    return found["slots"], found["first"]
