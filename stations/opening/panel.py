"""Opening checks on Today: how many slots of each station are checked, and which are not."""

from collections.abc import Iterator

from django.urls import reverse

from stations.equipment.models import Station
from stations.opening.checking import StationCheck, station_checks
from web.printing import numbered
from web.today import Asked, Need, register_panel


@register_panel(15)
def opening(asked: Asked) -> Iterator[Need]:
    """Stations with a slot still to check; a tap leads to its shot card."""
    waiting = [check for check in station_checks(asked.clocks, asked.now) if not check.done]
    found = Station.objects.filter(pk__in=[check.station_id for check in waiting])
    codes = dict(found.values_list("pk", "code"))
    for check in waiting:
        url = f"{reverse('stations:at', args=[codes[check.station_id]])}"
        words = f"{check.words}, {missing_words(check)}"
        first = check.missing[0].number
        yield Need(check.site_id, check.mark, words, f"{url}?slot={first}", check.station_id)


def missing_words(check: StationCheck) -> str:
    """Which slots are missing, those that were out of tolerance apart."""
    out = [slot.number for slot in check.missing if slot.was_out]
    others = [slot.number for slot in check.missing if not slot.was_out]
    were = "was" if len(out) == 1 else "were"
    told = [f"{numbered('slot', out)} {were} out of tolerance"] if out else []
    told += [f"{numbered('slot', others)} missing"] if others else []
    return "; ".join(told)
