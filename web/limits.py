"""How much anybody may ask for in a minute: one sign-in or token, and one client address.

Counted in the quick cache for all processes together. While the broker is away nothing is counted:
this keeps a program that runs wild from taking everybody's turn, and guards no secret. Guesses of
passwords and codes are counted elsewhere, and whatever is away (people.sign_in, web.lasting_cache).
"""

import time
from collections.abc import Callable, Iterator
from hashlib import sha256

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from audit.quick import quick
from web.middleware import client_address, request_id_of
from web.unavailable import HEALTH, unavailable

MINUTE = 60  # seconds
GetResponse = Callable[[HttpRequest], HttpResponse]


class LimitMiddleware:
    """Answers 429, and when to come back, to what is asked past a bound of this minute."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The answer."""
        if request.path not in HEALTH:
            for who, bound in _asking(request):
                if bound and _counted(who) > bound:
                    left = MINUTE - int(time.time()) % MINUTE
                    why = f"More than {bound} requests in this minute came from here."
                    return unavailable(
                        request, why, request_id=request_id_of(request), status=429, after=left
                    )
        return self.get_response(request)


def _asking(request: HttpRequest) -> Iterator[tuple[str, int]]:
    """Whom this counts for, and their bound; asked of the request alone."""
    yield f"client:{client_address(request)}", settings.REQUESTS_OF_A_CLIENT
    shown = request.headers.get("Authorization") or request.COOKIES.get(
        settings.SESSION_COOKIE_NAME, ""
    )
    if shown:
        yield f"by:{sha256(shown.encode()).hexdigest()}", settings.REQUESTS_OF_A_SIGN_IN


def _counted(who: str) -> int:
    """Which request of theirs this is, in this minute."""
    key = f"asked:{int(time.time()) // MINUTE}:{who}"
    if quick.add(key, 1, MINUTE):
        return 1
    try:
        return int(quick.incr(key))
    except ValueError:  # the minute ended, or the broker went, just now
        return 1
