"""Causes of drift on Today: what was found and is not cleared, for who answers it."""

from collections.abc import Iterator

from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.causes.models import CauseFinding
from web.today import Asked, Need, register_panel


@register_panel(31)
def causes(asked: Asked) -> Iterator[Need]:
    """Each that nobody has answered, or that lasts."""
    sites = [pk for pk in asked.clocks if may(asked.user, Verb.FINDING_ANSWER, pk)]
    if not sites:
        return
    for one in CauseFinding.objects.lasting().filter(site__in=sites).order_by("-pk"):
        url = one.get_absolute_url()
        yield Need(one.site_id, "drifts", one.get_cause_display(), url, one.station_id)
