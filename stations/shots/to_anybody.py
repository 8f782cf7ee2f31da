"""A station's code opened by somebody who is not signed in: what the site's policy allows."""

from collections.abc import Callable
from functools import wraps

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.timezone import now

from people.tablets.models import Shown, TabletPolicy
from people.tablets.recognising import recognised
from stations.equipment.models import Slot, Station
from stations.slots.holdings import holdings

View = Callable[..., HttpResponse]


def shown_by_policy(view: View) -> View:
    """Settings for anybody, where an owner allows that; otherwise the page itself, which asks to
    sign in: a code that there is not is answered like one whose site shows nothing."""

    @wraps(view)
    def wrapped(request: HttpRequest, code: str) -> HttpResponse:
        if request.method in ("GET", "HEAD") and not request.user.is_authenticated:
            station = Station.objects.with_equipment().filter(code=code).first()
            if station and _may_be_shown(request, station.machine.site_id):
                return _settings(request, station)
        return view(request, code)

    return wrapped


def _may_be_shown(request: HttpRequest, site_id: int) -> bool:
    policy, tablet = TabletPolicy.at(site_id), recognised(request)
    here = tablet is not None and tablet.site_id == site_id
    return Shown.SETTINGS in ((policy.shown, policy.shown_on_tablet) if here else (policy.shown,))


def _settings(request: HttpRequest, station: Station) -> HttpResponse:
    """What each slot is set to: no person, no shot, no form."""
    shown = {
        "station": station,
        "site": station.machine.site,
        "holdings": holdings(Slot.objects.filter(station=station)),
        "now": now(),
    }
    return render(request, "stations/shots/to_anybody.html", shown)
