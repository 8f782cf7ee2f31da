"""What every page here is made with, beside web.pages."""

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, Concatenate, ParamSpec, Protocol

from django.contrib import messages
from django.forms import Form
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils.text import capfirst
from django.views.decorators.http import require_http_methods

from audit.errors import Stale
from web.pages import PageRequest, asked_number, form_errors
from web.pages import page as signed_in_page

P = ParamSpec("P")
View = Callable[Concatenate[PageRequest, P], HttpResponse]


def page(*methods: str) -> Callable[[View[P]], Callable[Concatenate[HttpRequest, P], HttpResponse]]:
    """A page for people who are signed in: GET, and POST where it says so."""
    allowed = require_http_methods([*(methods or ("GET",)), "HEAD"])

    def decorate(view: View[P]) -> Callable[Concatenate[HttpRequest, P], HttpResponse]:
        @wraps(view)
        def shown(request: PageRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            return view(request, *args, **kwargs)

        return allowed(signed_in_page(shown))

    return decorate


class Thing(Protocol):
    """What an action gives back and a page can lead to."""

    def get_absolute_url(self) -> str:
        """The page to go to."""
        ...


def form_page(
    request: PageRequest,
    template: str,
    form: Form,
    act: Callable[[], Thing],
    *,
    said: str,
    context: Mapping[str, Any],
) -> HttpResponse:
    """Show a form; when it is sent, run the action and go on to what it made.

    ``said`` has a {} for what was made; empty where the next page says it all. Where somebody
    else was quicker, ``stale`` tells the template to offer the newest state. NotPermitted passes
    on and becomes a page of its own.
    """
    status, stale = 200, False
    if request.method == "POST":
        status = 400
        if form.is_valid():
            with form_errors(form) as outcome:
                made = act()
                if said:
                    messages.success(request, capfirst(said.format(made)))
                return redirect(made.get_absolute_url())
            status, stale = outcome.status, isinstance(outcome.error, Stale)
    shown = {**context, "form": form, "stale": stale}
    return render(request, template, shown, status=status)


def sent(request: PageRequest) -> QueryDict | None:
    """What a form was sent with, be it nothing at all; None while it is only shown."""
    return request.POST if request.method == "POST" else None


def asked_id(request: PageRequest, name: str) -> int:
    """A number from the address. Raises Invalid where it is none."""
    return asked_number(request, name, "the number of one that is there")
