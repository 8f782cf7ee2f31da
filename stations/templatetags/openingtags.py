"""The opening check of one station, for its pages."""

from django import template
from django.utils import timezone

from stations.equipment.models import Station
from stations.opening.checking import StationCheck, station_checks

register = template.Library()


@register.simple_tag
def opening_check(station: Station) -> StationCheck | None:
    """How far its slots are checked today; None where its site asks for nothing."""
    checks = station_checks([station.machine.site_id], timezone.now())
    return next((check for check in checks if check.station_id == station.pk), None)
