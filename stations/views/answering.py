"""What every page here needs: somebody signed in, the right method, and errors put in words."""

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, Concatenate, ParamSpec, Protocol

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from audit.errors import Invalid, Stale
from people.models import User
from people.web.kinds import kind_of


class PersonRequest(HttpRequest):
    """A request of somebody signed in."""

    user: User


P = ParamSpec("P")
View = Callable[Concatenate[PersonRequest, P], HttpResponse]


def page(*methods: str) -> Callable[[View[P]], Callable[..., HttpResponse]]:
    """A page for people who are signed in: GET, and POST where it says so."""

    def decorate(view: View[P]) -> Callable[..., HttpResponse]:
        @wraps(view)
        def shown(request: Any, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:  # noqa: ANN401
            return view(request, *args, **kwargs)

        allowed = require_http_methods([*(methods or ("GET",)), "HEAD"])
        return login_required(allowed(shown))

    return decorate


class Thing(Protocol):
    """What an action gives back and a page can lead to."""

    def get_absolute_url(self) -> str:
        """The page to go to."""
        ...


def form_page(
    request: PersonRequest,
    template: str,
    form: Form,
    act: Callable[[], Thing],
    *,
    said: str,
    context: Mapping[str, Any],
) -> HttpResponse:
    """Show a form; when it is sent, run the action and go on to what it made.

    What the action raises about values goes beside the fields, with the right status; ``said``
    has a {} for what was made. NotPermitted and Refused are no faults of a form: they pass on.
    """
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                made = act()
            except (Invalid, Stale) as told:
                status = tell(form, told)
            else:
                messages.success(request, said.format(made))
                return redirect(made.get_absolute_url())
    shown = {**context, "form": form, "stale": status == kind_of(Stale("", 0)).status}
    return render(request, template, shown, status=status)


def tell(form: Form, told: Invalid | Stale) -> int:
    """Put what an action said beside the fields it is about; the status to answer with."""
    if isinstance(told, Stale):
        form.add_error(None, told.message)
    else:
        for problem in told.problems:
            form.add_error(problem.field if problem.field in form.fields else None, problem.message)
    return kind_of(told).status
