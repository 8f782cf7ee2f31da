"""Pages that ask for a confirmation first, and return to what was typed.

Nothing is done by confirming: whoever comes back to a browser left alone would carry out what
somebody else had typed there. They see it, and send it themselves.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from django.contrib import messages
from django.contrib.auth import REDIRECT_FIELD_NAME
from django.forms import BaseForm
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import urlencode

from people.confirming.lately import confirmed_lately, where_to_confirm
from web.pages import PageRequest

P = ParamSpec("P")
PageView = Callable[Concatenate[PageRequest, P], HttpResponse]

TYPED = "typed_before_confirming"  # in the session, until it is shown again
NEVER_KEPT = frozenset({"csrfmiddlewaretoken", "password"})


def confirmed(back: str = "", *carried: str) -> Callable[[PageView[P]], PageView[P]]:
    """Under `page`: a change needs a confirmation of the last five minutes, or is sent to give it.

    back: the page that has the form, by name, with those of this one's arguments that it needs;
    empty where it is this page itself.
    """

    def decorate(view: PageView[P]) -> PageView[P]:
        @wraps(view)
        def checked(request: PageRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            if request.method in ("GET", "HEAD") or confirmed_lately(request):
                return view(request, *args, **kwargs)
            given: dict[str, Any] = {name: kwargs[name] for name in carried}
            return _ask(request, reverse(back, kwargs=given) if back else request.path)

        return checked

    return decorate


def _ask(request: PageRequest, back: str) -> HttpResponse:
    sent = request.POST.copy()
    for name in NEVER_KEPT:
        sent.pop(name, None)
    request.session[TYPED] = {"back": back, "to": request.path, "sent": sent.urlencode()}
    return redirect(f"{where_to_confirm(request)}?{urlencode({REDIRECT_FIELD_NAME: back})}")


class Typed:
    """What was typed on this page before its sender went to confirm; shown again once."""

    def __init__(self, request: PageRequest) -> None:
        kept = request.session.get(TYPED, {})
        self.to, self.sent = "", QueryDict()
        if request.method == "GET" and kept.get("back") == request.path:
            if confirmed_lately(request):
                del request.session[TYPED]
                messages.info(request, "Confirmed. Nothing was changed yet: send it again.")
            self.to, self.sent = kept["to"], QueryDict(kept["sent"])

    def refill(self, form: BaseForm, to: str) -> None:
        """Put it into the form that is sent to that address, if it was that one."""
        if form.is_bound or to != self.to:
            return
        for name, field in form.fields.items():
            if name not in NEVER_KEPT:
                value = field.widget.value_from_datadict(self.sent, {}, form.add_prefix(name))
                form.initial[name] = value
