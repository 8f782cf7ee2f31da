"""Pages with a form: shown, sent, acted on, and shown again with everything that was typed."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass
from typing import Any, Protocol

from django.contrib import messages
from django.forms import BaseForm, BoundField, ChoiceField
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils.text import capfirst

from audit.errors import DomainError, Invalid, NotPermitted, OneMoreStep, Problem, Refused, Stale
from web.errors import kind_of
from web.fields import typed_unit
from web.pages import PageRequest
from web.printing import NONE
from web.typed import Typed
from web.typed_figures import keeping_typed


class Thing(Protocol):
    """What an action gives back and a page can lead to."""

    def get_absolute_url(self) -> str:
        """The page to go to."""
        ...


@dataclass
class Attempt:
    """How an action went; the status to answer the form with if it did not."""

    status: int = 200
    error: DomainError | None = None
    unfinished: bool = False  # one step more is needed, which the form shows

    @property
    def ok(self) -> bool:
        """True unless something was wrong: what was looked at still stands."""
        return self.error is None

    @property
    def stale(self) -> bool:
        """Whether somebody else was quicker."""
        return isinstance(self.error, Stale)


def form_page(
    request: PageRequest,
    template: str,
    form: BaseForm,
    act: Callable[[], Thing | str],
    *,
    said: str,
    context: Mapping[str, Any] | Callable[[Attempt], Mapping[str, Any]],
) -> HttpResponse:
    """Show a form; when it is sent, run the action and go on to what it made (or that address).

    ``said`` has a {} for what was made; empty where the next page says it all. ``context`` may be
    worked out after the action, from how it went. What the action says no to is told in the form,
    with the right status; NotPermitted passes on and becomes a page of its own. What was typed
    here before somebody had to sign in again stands in it.
    """
    attempt = Attempt(status_of(form))
    Typed(request).refill(form, request.path)
    if form.is_bound and form.is_valid():
        with form_errors(form) as attempt:
            made = act()
        if attempt.ok and not attempt.unfinished:
            if said:
                messages.success(request, capfirst(said.format(made)))
            return redirect(made)
    around = context(attempt) if callable(context) else context
    return render(request, template, {**around, "form": form}, status=attempt.status)


@contextmanager
def form_errors(form: BaseForm) -> Iterator[Attempt]:
    """Run an action; what it says no to becomes the form's errors and the answer's status.

    A value's error stands beside its field, any other at the head of the form. NotFound and
    NotPermitted are no matter of the form: they pass on and become pages of their own.
    """
    attempt = Attempt()
    try:
        with keeping_typed(form):
            yield attempt
    except NotPermitted:
        raise
    except OneMoreStep:
        attempt.unfinished = True
    except Invalid as invalid:
        for problem in invalid.problems:
            form.add_error(*_placed(form, problem))
        attempt.error = invalid
    except DomainError as error:
        if kind_of(error).status == 404:
            raise
        form.add_error(None, _sentence(error))
        attempt.error = error
    if attempt.error:
        attempt.status = kind_of(attempt.error).status
    if attempt.stale:
        note_newest(form)
        look_again(form)


def _placed(form: BaseForm, problem: Problem) -> tuple[str | None, str]:
    """Beside its field, whose label is read first; what has no field here is named in words."""
    if problem.field in form.fields:
        return problem.field, capfirst(problem.sentence)
    return None, capfirst(f"{problem.field.replace('_', ' ')}: {problem.sentence}")


def _sentence(error: DomainError) -> str:
    if isinstance(error, Refused):
        who = f"Who may: {error.who_may}." if error.who_may else ""
        return " ".join(filter(None, [error.message, who, error.how_to_ask]))
    return error.message


# Where somebody else was quicker. The form's initial values are what is stored now, its hidden
# fields say what was looked at. What was typed stays typed; beside it the page shows what is
# stored where that differs; and the next attempt is made from there, knowingly.


def look_again(form: BaseForm, newest: Mapping[str, Any] | None = None) -> None:
    """Bring the hidden fields up to date: the next attempt is made from what this page shows.

    ``newest`` says what that is, where a page worked it out again since the form was made.
    """
    seen = form.initial if newest is None else newest
    data: Any = copy(form.data)  # of a QueryDict, one that can be changed
    for field in form.hidden_fields():
        if field.name in seen:
            value = seen[field.name]
            data[field.html_name] = "" if value is None else str(value)
    form.data = data


def note_newest(form: BaseForm) -> None:
    """Keep what is stored now, where it differs from what was typed, for the head of the form."""
    differs = [form[name] for name in form.changed_data if name in form.initial]
    newest = [(field.label, _stored(field)) for field in differs if not field.is_hidden]
    vars(form)["newest"] = newest


def newest_of(form: BaseForm) -> list[tuple[str, str]] | None:
    """Label and stored value of each field that differs; None where nobody else was quicker."""
    noted: list[tuple[str, str]] | None = vars(form).get("newest")
    return noted


def _stored(bound: BoundField) -> str:
    value, field = bound.initial, bound.field
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(field, ChoiceField):
        chosen = {str(each) for each in (value if isinstance(value, list | tuple) else [value])}
        choices: Any = field.choices
        labels = [str(label) for key, label in choices if str(key) in chosen]
        return ", ".join(labels) or NONE
    if value in field.empty_values:
        return NONE
    unit = typed_unit(field)
    return f"{field.prepare_value(value)} {unit}".rstrip()


# What was sent.


def posted(request: HttpRequest) -> QueryDict | None:
    """What was sent, for a form's first argument; None for a page that is only looked at.

    An empty POST is still one, and its form has something to say.
    """
    return request.POST if request.method == "POST" else None


def status_of(form: BaseForm) -> int:
    """400 for a form that was sent and is not valid, else 200."""
    return 400 if form.is_bound and not form.is_valid() else 200


def cleaned(form: BaseForm) -> dict[str, Any]:
    """What was sent, for a form whose page isn't shown again. Raises Invalid naming each field."""
    if not form.is_valid():
        raise Invalid.of(
            [
                Problem(name, form.data.get(name), " ".join(map(str, told)).rstrip("."))
                for name, told in form.errors.items()
            ]
        )
    return form.cleaned_data
