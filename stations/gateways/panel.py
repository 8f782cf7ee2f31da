"""Stations that a gateway should read and nobody does, on Today."""

from collections.abc import Iterator

from django.urls import reverse

from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.gateways.silence import unverified_stations
from web.printing import moment
from web.today import Asked, Need, register_panel


@register_panel(12)
def unverified(asked: Asked) -> Iterator[Need]:
    """Each, for who reads back: since when."""
    sites = [pk for pk in asked.clocks if may(asked.user, Verb.SLOT_READ_BACK, pk)]
    for station, site, since in unverified_stations(sites) if sites else ():
        words = f"Not verified since {moment(since, asked.clocks[site].key)}"
        yield Need(site, "unverified", words, reverse("stations:gateways", args=[site]), station)
