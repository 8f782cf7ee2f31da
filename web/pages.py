"""What a page view is made of: who asks, and whether they may."""

from collections.abc import Callable, Sequence
from enum import StrEnum
from functools import wraps
from typing import TYPE_CHECKING, Concatenate, ParamSpec

from django.contrib.messages import get_messages
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_http_methods

from web.access import require_access
from web.once import once
from web.queued import KEPT_FOR, is_queued
from web.sent_later import carried_out, signed_out
from web.text import refuse_unprintable
from web.typed import Typed, sign_in_first, waiting

if TYPE_CHECKING:  # the model AUTH_USER_MODEL names: django-stubs knows which
    from django.contrib.auth.models import _User as User

P = ParamSpec("P")


class PageRequest(HttpRequest):
    """A request of somebody signed in."""

    user: "User"


PageView = Callable[Concatenate[PageRequest, P], HttpResponse]
View = Callable[Concatenate[HttpRequest, P], HttpResponse]


def page(
    verb: StrEnum | None = None,
    *,
    methods: str = "GET",
    everywhere: bool = False,
    kept: bool = False,
) -> Callable[[PageView[P]], View[P]]:
    """A page for people signed in; anybody else is sent to sign in first.

    With a verb it is for those who may do that somewhere, or everywhere where it concerns all
    sites; others get 403, and the history a line. At which site, and each single change, is
    checked where the rows are chosen and in the action. Other methods than the named ones
    ("GET POST" for a form) get 405. Text with control characters, in the address or sent, is
    refused before anything looks at it. What is sent twice is done once, and
    what was typed outlives a session that ended. A ``kept`` page may be kept by this person's
    device, to be looked at without a line.
    """
    named = methods.split()
    allowed = require_http_methods([*named, "HEAD"] if "GET" in named else named)

    def decorate(view: PageView[P]) -> View[P]:
        @wraps(view)
        def checked(request: PageRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            given = (*request.GET.lists(), *request.POST.lists())
            refuse_unprintable((name, str(text)) for name, all_ in given for text in (name, *all_))
            if verb is not None:
                require_for_page(request, verb, everywhere=everywhere)
            vars(request)["may_be_kept"] = kept  # for templates/parts/line.html
            response = _answered(request, lambda: view(request, *args, **kwargs))
            return _may_keep(request, response) if kept else response

        @wraps(view)
        def of_somebody(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            if not request.user.is_authenticated:
                return _nobody(request, named)
            return checked(request, *args, **kwargs)  # type: ignore[arg-type]  # signed in

        return allowed(of_somebody)

    return decorate


def _answered(request: PageRequest, run: Callable[[], HttpResponse]) -> HttpResponse:
    """Run the view: once for what is sent twice; saying what was typed where no form shows it."""
    if request.method == "POST":
        if is_queued(request):
            return carried_out(request, run)
        return once(request, run)
    response = run()
    if waiting(request):
        Typed(request).say(request)
        response = run()
    return response


def _nobody(request: HttpRequest, methods: Sequence[str]) -> HttpResponse:
    return signed_out() if is_queued(request) else sign_in_first(request, methods)


def _may_keep(request: PageRequest, response: HttpResponse) -> HttpResponse:
    """Say so, and for whom. Not with a message, which is for one time only."""
    told = getattr(get_messages(request), "used", False)
    if request.method == "GET" and response.status_code == 200 and not told:
        response.headers[KEPT_FOR] = str(request.user.pk)
    return response


def require_for_page(
    request: PageRequest, verb: StrEnum, site_id: int | None = None, *, everywhere: bool = False
) -> None:
    """As require_access, for whoever is signed in. Raises NotPermitted."""
    require_access(request, request.user, verb, site_id, everywhere=everywhere)
