"""What every request carries, its channel, id and address; and refusals as pages."""

import re
import uuid
from collections.abc import Callable
from dataclasses import replace
from ipaddress import ip_address

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render, resolve_url

from audit.capture.context import Channel, RequestContext, request_context
from audit.capture.devices import BEGINS, GATEWAY_BEGINS, request_id_at
from audit.characters import may_hold_unseen, visible
from audit.errors import Invalid, Refused
from web.errors import as_domain_error, kind_of
from web.queued import KEPT_FOR, NOBODY, mark_refusal
from web.text import NEVER_REPEATED
from web.units import METRIC, Choice, read_by

# Where a request came from, as far as that can be believed.


def client_address(request: HttpRequest) -> str | None:
    """The client's IP address; behind TRUSTED_PROXIES proxies of ours, the one they saw.

    A client can write anything into X-Forwarded-For, but only before what our own proxies add.
    """
    address = str(request.META.get("REMOTE_ADDR", ""))
    proxies: int = settings.TRUSTED_PROXIES
    if proxies:
        forwarded = [part.strip() for part in request.headers.get("X-Forwarded-For", "").split(",")]
        address = forwarded[-proxies] if len(forwarded) >= proxies else address
    try:
        # Without a zone (fe80::1%eth0), which names this machine's own interface.
        return str(ip_address(address.partition("%")[0]))
    except ValueError:
        return None


API = "/api/"
REQUEST_ID = re.compile(r"[A-Za-z0-9._-]{8,64}")
GetResponse = Callable[[HttpRequest], HttpResponse]


class RequestContextMiddleware:
    """Sets what the history notes of every request, and answers domain errors as pages."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The answer, with the request's id in X-Request-ID."""
        channel = Channel.API if request.path.startswith(API) else Channel.PAGE
        request_id = request_id_of(request)
        asked_for = f"{request.method} {request.path}"
        about = RequestContext(channel, request_id, client_address(request), asked_for)
        token = request_context.set(about)
        try:
            with read_by(lambda: METRIC if channel == Channel.API else units_of(request)):
                response = self.get_response(request)
            told = request_context.get()
        finally:
            request_context.reset(token)
        response = _not_in_part(request, response)
        response["X-Request-ID"] = vars(request)["request_id"] = told.request_id
        mark_refusal(request, response)
        _show_unseen(response)
        _keep_private(response)
        if channel == Channel.PAGE:
            _leave_nothing(request, response)
        return response

    def process_exception(self, request: HttpRequest, raised: Exception) -> HttpResponse | None:
        """A rule said no and no form was there to say it: a page of its own, with the sentence."""
        error = None if request.path.startswith(API) else as_domain_error(raised)
        if error is None:
            return None
        context = {
            "message": error.message,
            "problems": error.problems if isinstance(error, Invalid) else [],
            "who_may": error.who_may if isinstance(error, Refused) else "",
            "how_to_ask": error.how_to_ask if isinstance(error, Refused) else "",
            "sent": _sent(request) if isinstance(error, Invalid) else [],
        }
        status = kind_of(error).status
        return render(request, f"errors/{status}.html", context, status=status)


def units_of(request: HttpRequest) -> Choice:
    """The units that whoever is signed in reads; of nobody, °C and g."""
    found: Choice = getattr(getattr(request, "user", None), "units", METRIC)
    return found


def _sent(request: HttpRequest) -> list[tuple[str, str]]:
    """What was typed, so that it is not lost with the form: to be copied from this page."""
    named = ((name, text) for name, all_ in request.POST.lists() for text in all_)
    return [(name, str(text)) for name, text in named if text and name not in NEVER_REPEATED]


def _not_in_part(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """Who was signed out meanwhile is sent to sign in, not shown the form in a part of a page."""
    part = request.headers.get("HX-Request") == "true"
    sign_in = resolve_url(settings.LOGIN_URL)
    if part and response.get("Location", "").startswith(sign_in):
        return HttpResponse(headers={"HX-Refresh": "true"})
    return response


def _show_unseen(response: HttpResponse) -> None:
    """What was stored before such characters were refused, or by SQL, is shown on every page.

    Files and the API hold it as it is: they are not looked at, and proofs are over them.
    """
    if response.streaming or not response.get("Content-Type", "").startswith("text/html"):
        return
    if may_hold_unseen(response.content):
        response.content = visible(response.content.decode())


def _keep_private(response: HttpResponse) -> None:
    """No copy stays behind: a tablet at the bar is shared, and so may be a proxy on the way.

    What carries a tag may be kept by the program that asked, and is asked for again each time.
    """
    kept = "private, no-cache" if response.has_header("ETag") else "no-store"
    response.headers.setdefault("Cache-Control", kept)


def _leave_nothing(request: HttpRequest, response: HttpResponse) -> None:
    """Where nobody is signed in any more, the device deletes the pages it kept of whoever was.

    Not what they noted: it waits for them.
    """
    somebody = getattr(getattr(request, "user", None), "is_authenticated", False)
    if response.get("Content-Type", "").startswith("text/html") and not somebody:
        response.headers[KEPT_FOR] = NOBODY


def request_id_of(request: HttpRequest) -> str:
    """The caller's own X-Request-ID where it is harmless, or else a new one; the same each time."""
    given = request.headers.get("X-Request-ID", "")
    ours = given.startswith((BEGINS, GATEWAY_BEGINS))
    harmless = REQUEST_ID.fullmatch(given) and not ours
    kept: str = vars(request).setdefault("request_id", given if harmless else uuid.uuid4().hex)
    return kept


def name_device(device: int) -> None:
    """Say at which device all of this request is done; its id tells it from here on."""
    request_context.set(replace(request_context.get(), request_id=request_id_at(device)))


def correct_channel(channel: Channel) -> None:
    """Correct the channel once the request's token is known."""
    request_context.set(replace(request_context.get(), channel=channel))
