"""What a browser sends later than it was typed: noted on the device while there was no line.

The service worker (static/js/offline/) sends it as the page's own form would have been, with
headers that say whose it is and how long ago it was made, and is answered in a way that a script
can tell apart. Everything else, the rules and the once-key above all, is as for any page.
"""

from datetime import datetime, timedelta

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from audit.errors import Invalid

WHOSE = "X-Queued-For"  # the number of the person who typed it
AGO = "X-Queued-Made-Ago"  # whole seconds, by the device's own clock at both ends
LATER = "X-Queued-Later"  # nobody waits for the page it leads to: its messages are told at once
ANSWER = "X-Queued"  # in the answer: done, signed-out, token or refused

# In the answer to any page, read by static/js/offline/kept.js: for whom the device may keep it.
KEPT_FOR = "X-Kept-For"
NOBODY = "nobody"  # is signed in: what was kept is deleted

OLDEST = timedelta(days=3)  # common practice, no source: a long weekend without a line
AT_ONCE = timedelta(seconds=30)  # what a slow line takes; made then is made now


def is_queued(request: HttpRequest) -> bool:
    """Whether the service worker sent it."""
    return WHOSE in request.headers


def mark_refusal(request: HttpRequest, response: HttpResponse) -> None:
    """Say that it is our refusal, which no repetition changes: not a proxy's, not for now only."""
    if is_queued(request) and 400 <= response.status_code < 500 and response.status_code != 429:
        response.headers.setdefault(ANSWER, "refused")


def made_at(request: HttpRequest) -> datetime | None:
    """The moment something sent was made; None where that is now. Raises Invalid.

    Only the time gone by is believed, so that a device's clock may be wrong, but not set in
    between.
    """
    text = request.headers.get(AGO, "0")
    if not text.removeprefix("-").isdecimal() or len(text) > 10:
        raise Invalid("made", text, "a whole number of seconds, up to ten characters")
    ago = timedelta(seconds=int(text))
    if ago < -AT_ONCE:
        raise Invalid(
            "made",
            f"{-ago} from now",
            "a moment that has been: this device's clock was set back since. Sent again, it counts"
            " as made now",
        )
    return None if ago <= AT_ONCE else checked(timezone.now() - ago)


def checked(made: datetime | None) -> datetime | None:
    """The same moment, if it may be stated. Raises Invalid where it is to come, or too old."""
    if made is not None and not timezone.now() - OLDEST <= made <= timezone.now():
        allowed = f"a moment of the last {OLDEST.days} days"
        raise Invalid("made", f"{made:%Y-%m-%d %H:%M} UTC", allowed)
    return made


def told_late(made: datetime | None) -> str:
    """For the history, whose entry has the moment it came: why that is another one."""
    return f"Noted without a line at {made:%Y-%m-%d %H:%M} UTC" if made else ""
