"""From one person to the next: what is left of a session, which is nothing, and when it ends."""

from django.contrib import messages
from django.contrib.auth import logout
from django.http import HttpRequest

from people.sign_in.models import End
from people.sign_in.sessions import end_here
from people.tablets.models import Tablet, TabletPolicy
from web.typed import put_typed, take_typed

IDLE = "tablet_idle"  # in the session: minutes, as the policy was when it began


def leave(request: HttpRequest, end: End) -> None:
    """End the session that asks. What is kept of something typed stays, for that person alone."""
    kept = take_typed(request)
    list(messages.get_messages(request))  # read, so that nobody else does
    end_here(request, end)
    logout(request)
    put_typed(request, kept)


def keep_awake(request: HttpRequest, tablet: Tablet) -> None:
    """Whoever does something has the policy's minutes anew; what a page asks by itself is not."""
    if IDLE not in request.session:
        request.session[IDLE] = TabletPolicy.at(tablet.site_id).idle_minutes
    elif not _somebody_acts(request):
        return
    request.session.set_expiry(60 * int(request.session[IDLE]))


def _somebody_acts(request: HttpRequest) -> bool:
    opened = request.headers.get("Sec-Fetch-Mode", "navigate") == "navigate"
    return request.method == "POST" or (opened and "HX-Request" not in request.headers)
