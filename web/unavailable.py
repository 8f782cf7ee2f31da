"""What is answered in an outage: 503, when to come back, and the request's id.

Nothing typed is lost by it: the page sends the same again, with the same key, so it is done once
(web.once). It asks no database, or it could not be shown.
"""

import sys
from collections.abc import Callable

from django.conf import settings
from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest, HttpResponse, UnreadablePostError
from django.template.loader import render_to_string

from audit.capture.context import request_context
from web.answering import watch
from web.bodies import length_of
from web.middleware import request_id_of
from web.outages import DATABASE, why_away
from web.problems import API, page_answer, plain_problem
from web.text import NEVER_REPEATED, OF_THE_PAGE, SECRETS

RETRY_AFTER = 5  # seconds
HEALTH = ("/healthz", "/livez", "/readyz")  # say themselves what does not answer
GetResponse = Callable[[HttpRequest], HttpResponse]


class OutageMiddleware:
    """While the database is known to be away nobody waits to hear it."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The answer, with the request's id whichever part of the program gave it."""
        away = request.path not in HEALTH and watch.away()
        told = request_id_of(request)
        answer = (
            unavailable(request, DATABASE, request_id=told) if away else self.get_response(request)
        )
        answer.headers.setdefault("X-Request-ID", told)
        return answer


def failed(request: HttpRequest) -> HttpResponse:
    """handler500: an outage is no fault of the program and will pass."""
    why = why_away(sys.exc_info()[1])
    if not why:
        return page_answer(request, 500)
    # Of a tablet, as the history and the answer's header have it.
    return unavailable(
        request, why, request_id=request_context.get().request_id or request_id_of(request)
    )


def unavailable(
    request: HttpRequest, why: str, *, request_id: str, status: int = 503, after: int = RETRY_AFTER
) -> HttpResponse:
    """That nothing is to be had just now, and after how many seconds to try again."""
    if request.path.startswith(API):
        detail = f"{why} Nothing was half-saved: send it again in {after} seconds."
        answer: HttpResponse = plain_problem(request, status, detail)
    else:
        context = {"why": why, "request": request, "request_id": request_id}
        if request.method == "POST":
            context |= _sent(request)
        answer = HttpResponse(render_to_string("errors/503.html", context), status=status)
    answer["Retry-After"] = str(after)
    answer["Cache-Control"] = "no-store"
    return answer


def _sent(request: HttpRequest) -> dict[str, object]:
    """What was typed, to be sent again; what proves who somebody is they type anew."""
    if length_of(request) > settings.LARGEST_BODY:
        return {}
    try:
        lists, files = list(request.POST.lists()), sorted(request.FILES)
    except (SuspiciousOperation, UnreadablePostError):
        return {}
    again = [(name, value) for name, values in lists for value in values]
    return {
        # As they were sent: a stranger has no such.
        "sent": {name: request.POST.get(name, "") for name in OF_THE_PAGE},
        "pairs": [(name, value) for name, value in again if name not in NEVER_REPEATED],
        "secrets": [(name, SECRETS[name]) for name, _ in lists if name in SECRETS],
        "files": files,
    }
