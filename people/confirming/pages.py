"""Pages that ask for a confirmation first, and return to what was typed.

Nothing is done by confirming: whoever comes back to a browser left alone would carry out what
somebody else had typed there. They see it, and send it themselves.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from django.contrib.auth import REDIRECT_FIELD_NAME
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import urlencode

from people.confirming.lately import confirmed_lately, where_to_confirm
from web.access import access, noting_refusal
from web.once import nothing_done
from web.pages import PageRequest
from web.typed import keep_typed

P = ParamSpec("P")
PageView = Callable[Concatenate[PageRequest, P], HttpResponse]

AGAIN = "Nothing was changed yet: look at it, and send it again."


def confirmed(back: str = "", *carried: str) -> Callable[[PageView[P]], PageView[P]]:
    """Under `page`: a change needs a confirmation of the last five minutes, or is sent to give it.

    Nobody is asked who may not do it anyway: whom a PIN vouches for at a tablet.

    back: the page that has the form, by name, with those of this one's arguments that it needs;
    empty where it is this page itself.
    """

    def decorate(view: PageView[P]) -> PageView[P]:
        @wraps(view)
        def checked(request: PageRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            refuse_pin(request)
            if request.method in ("GET", "HEAD") or confirmed_lately(request):
                return view(request, *args, **kwargs)
            given: dict[str, Any] = {name: kwargs[name] for name in carried}
            return _ask(request, reverse(back, kwargs=given) if back else request.path)

        return checked

    return decorate


def refuse_pin(request: HttpRequest) -> None:
    """One's own sign-in; what is about others is refused by its verb. Raises NotPermitted."""
    if not request.user.is_authenticated:
        return
    with noting_refusal(request):
        access.require_in_full(request.user, "change how you sign in")


def _ask(request: PageRequest, back: str) -> HttpResponse:
    keep_typed(request, back, AGAIN, request.user.pk)
    return nothing_done(
        redirect(f"{where_to_confirm(request)}?{urlencode({REDIRECT_FIELD_NAME: back})}")
    )
