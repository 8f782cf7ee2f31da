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
        bound = 0 if request.path in HEALTH else _passed(request)
        if bound:
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


def _passed(request: HttpRequest) -> int:
    """Which of their bounds they are past in this minute; 0 if none."""
    minute = int(time.time()) // MINUTE
    bounds = {f"asked:{minute}:{who}": bound for who, bound in _asking(request) if bound}
    if not bounds:
        return 0
    counts = quick.count(list(bounds), MINUTE)
    past = (bound for bound, count in zip(bounds.values(), counts, strict=True) if count > bound)
    return next(past, 0)
