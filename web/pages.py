"""What page views are made of, so that they can stay thin."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

from django.contrib.auth.decorators import login_required
from django.db.models import Model, QuerySet
from django.forms import BaseForm
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.utils.text import capfirst

from audit.capture.context import record_refusal
from audit.errors import DomainError, Invalid, NotPermitted, Problem, Refused
from people.history import PAGE_REFUSED
from people.persons.models import User
from people.persons.permissions import require, require_everywhere
from people.persons.verbs import Verb
from web.errors import kind_of
from web.parsing import refuse_unprintable

P = ParamSpec("P")
M = TypeVar("M", bound=Model)


class PageRequest(HttpRequest):
    """A request of somebody signed in."""

    user: User


PageView = Callable[Concatenate[PageRequest, P], HttpResponse]


def page(view: PageView[P]) -> Callable[Concatenate[HttpRequest, P], HttpResponse]:
    """A page for people signed in; anybody else is sent to sign in first.

    Text with control characters, in its address or sent, is refused before anything looks at it.
    """

    @wraps(view)
    def readable(request: PageRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        given = (*request.GET.lists(), *request.POST.lists())
        refuse_unprintable((name, str(text)) for name, texts in given for text in (name, *texts))
        return view(request, *args, **kwargs)

    return login_required(readable)  # type: ignore[return-value]


def page_for(
    verb: Verb, *, everywhere: bool = False
) -> Callable[[PageView[P]], Callable[Concatenate[HttpRequest, P], HttpResponse]]:
    """A page for those who may do the verb somewhere; others get 403, and the history a line.

    ``everywhere``: it concerns all sites, so only a role that covers them all counts.
    """

    def decorate(view: PageView[P]) -> Callable[Concatenate[HttpRequest, P], HttpResponse]:
        def checked(request: PageRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            require_for_page(request, verb, everywhere=everywhere)
            return view(request, *args, **kwargs)

        checked.__doc__, checked.__name__ = view.__doc__, view.__name__
        return page(checked)

    return decorate


@contextmanager
def noting_refusal(request: PageRequest, site_id: int | None = None) -> Iterator[None]:
    """A permission asked for by a page, outside any action: its refusal is written down too."""
    try:
        yield
    except NotPermitted as refused:
        record_refusal(refused, by=request.user, action=PAGE_REFUSED, site_id=site_id)
        raise


def require_for_page(
    request: PageRequest, verb: Verb, site_id: int | None = None, *, everywhere: bool = False
) -> None:
    """As permissions.require, or require_everywhere, with the refusal written down.

    Raises NotPermitted.
    """
    with noting_refusal(request, site_id):
        if everywhere:
            require_everywhere(request.user, verb)
        else:
            require(request.user, verb, site_id)


def one_or_404(rows: QuerySet[M], pk: int) -> M:
    """The row, from a queryset already narrowed to what this person may see. Raises Http404."""
    found = rows.filter(pk=pk).first()
    if found is None:
        raise Http404("There is nothing here, or not for you.")
    return found


def asked_number(request: HttpRequest, name: str, allowed: str) -> int:
    """A row's number from the address. Raises Invalid where it can be none."""
    text = request.GET.get(name, "")
    if not (text.isascii() and text.isdigit() and len(text) <= 18):
        raise Invalid(name, text, allowed)
    return int(text)


@dataclass
class Outcome:
    """How an action went; the status to answer the form with if it did not."""

    status: int = 200
    error: DomainError | None = None

    @property
    def ok(self) -> bool:
        """True once the block ran to its end."""
        return self.error is None


@contextmanager
def form_errors(form: BaseForm) -> Iterator[Outcome]:
    """Run an action; what it says no to becomes the form's errors and the answer's status.

    A value's error stands beside its field, any other at the head of the form. NotFound and
    NotPermitted are no matter of the form: they pass on and become pages of their own.
    """
    outcome = Outcome()
    try:
        yield outcome
    except NotPermitted:
        raise
    except Invalid as invalid:
        for problem in invalid.problems:
            form.add_error(*_placed(form, problem))
        outcome.error = invalid
    except DomainError as told:
        if kind_of(told).status == 404:
            raise
        form.add_error(None, _sentence(told))
        outcome.error = told
    if outcome.error:
        outcome.status = kind_of(outcome.error).status


def _placed(form: BaseForm, problem: Problem) -> tuple[str | None, str]:
    """Beside its field, whose label is read first; what has no field here is named in words."""
    if problem.field in form.fields:
        return problem.field, capfirst(problem.sentence)
    return None, capfirst(f"{problem.field.replace('_', ' ')}: {problem.sentence}")


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


def posted(request: HttpRequest) -> QueryDict | None:
    """What was sent, for a form's first argument; None for a page that is only looked at."""
    return request.POST if request.method == "POST" else None


def status_of(form: BaseForm) -> int:
    """400 for a form that was sent and is not valid, else 200."""
    return 400 if form.is_bound and not form.is_valid() else 200


def _sentence(told: DomainError) -> str:
    if isinstance(told, Refused):
        who = f"Who may: {told.who_may}." if told.who_may else ""
        return " ".join(filter(None, [told.message, who, told.how_to_ask]))
    return told.message
