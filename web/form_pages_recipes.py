"""What the form pages of recipes share: show, act, go on."""

from collections.abc import Callable, Mapping
from typing import Protocol

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render

from audit.errors import Stale
from web.pages import PageRequest, form_errors, status_of


def posted(request: HttpRequest) -> QueryDict | None:
    """What was sent; an empty POST is still one, and its form has something to say."""
    return request.POST if request.method == "POST" else None


def retyped(request: HttpRequest, **replaced: object) -> QueryDict:
    """What was typed, to be shown again, with hidden fields brought up to date."""
    data = request.POST.copy()
    for name, value in replaced.items():
        data[name] = str(value)
    return data


class Thing(Protocol):
    """What an action gives back and a page can lead to."""

    def get_absolute_url(self) -> str:
        """The page to go to."""
        ...


def form_page(
    request: PageRequest,
    template: str,
    form: forms.Form,
    act: Callable[[], Thing],
    *,
    said: str,
    context: Mapping[str, object],
    seen: Mapping[str, object] | None = None,
) -> HttpResponse:
    """Show a form; when it is sent, run the action and go on to what it made.

    What the action says no to is told in the form, with the right status. ``said`` has a {} for
    what was made. ``seen`` are the hidden fields that say what was looked at, as they are for
    what this page shows: where that moved on, the next attempt is made from here.
    """
    status = status_of(form)
    if form.is_bound and form.is_valid():
        with form_errors(form) as outcome:
            made = act()
        if outcome.ok:
            messages.success(request, said.format(made))
            return redirect(made.get_absolute_url())
        status = outcome.status
        if seen and isinstance(outcome.error, Stale):
            form.data = retyped(request, **seen)
    return render(request, template, {**context, "form": form}, status=status)
