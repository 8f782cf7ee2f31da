"""What endpoints are made of: who asks and may, what was sent, and lists a page at a time."""

from collections.abc import Callable
from enum import StrEnum
from typing import TYPE_CHECKING, Any, TypeVar

from django.contrib.auth import get_user_model
from django.db.models import Model, QuerySet
from rest_framework.exceptions import NotAuthenticated, ValidationError
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer
from rest_framework.views import APIView

from audit.endpoint import Endpoint
from audit.errors import Invalid
from web.access import require_access
from web.lookup import row_number
from web.paging import KeysetPagination
from web.parsing import unknown_fields
from web.text import one_line, refuse_unprintable, texts_in

if TYPE_CHECKING:  # the model AUTH_USER_MODEL names: django-stubs knows which
    from django.contrib.auth.models import _User as User

M = TypeVar("M", bound=Model)
Rows = Any  # a queryset whose model the caller knows
S = TypeVar("S", bound=Serializer[Any])


class GuardedView(Endpoint):
    """An endpoint for those who may do `verb` somewhere; others get 403, the history a line.

    Asked before the body is looked at, so that nobody is told how to do what they may not.
    Which sites, and each single change, is checked where the rows are chosen and in the action.
    """

    verb: StrEnum
    acting_verb: StrEnum | None = None  # what POST, PUT and DELETE need, where that is not `verb`
    acting_everywhere = False  # such a change concerns all sites: the role must cover them
    in_person = False  # such a change is nothing for a program, nor for a browser left alone

    def check_permissions(self, request: Request) -> None:
        """Sign-in and token scopes first, then the verb. Raises NotPermitted."""
        super().check_permissions(request)
        acts = request.method not in SAFE_METHODS
        verb = self.acting_verb if acts and self.acting_verb else self.verb
        everywhere = acts and self.acting_everywhere
        require_access(request, person(request), verb, everywhere=everywhere)


class Listing(GuardedView):
    """One with a list, a page at a time: answer it by `listed`."""

    pagination_class = KeysetPagination


def person(request: Request) -> "User":
    """The person acting. Raises NotAuthenticated (401) if there is none."""
    if not isinstance(request.user, get_user_model()):
        raise NotAuthenticated
    return request.user


def valid(serializer: type[Serializer[Any]], request: Request) -> dict[str, Any]:
    """The body, checked. Raises ValidationError (400) naming each field."""
    return dict(checked(serializer, request).validated_data)


def checked(serializer: type[S], request: Request) -> S:
    """As valid, the serializer itself: for bodies that carry a signature.

    A name that means nothing is refused as well: what was meant would be silently left out.
    Raises Invalid for text with control characters.
    """
    refuse_unprintable(texts_in(request.data))
    body = serializer(data=request.data)
    unknown = unknown_fields(body, request.data)
    if not body.is_valid() or unknown:
        raise ValidationError({**unknown, **body.errors})
    return body


def asked(serializer: type[Serializer[Any]], request: Request) -> dict[str, Any]:
    """The address's query, checked. Raises ValidationError (400) naming each field."""
    query = serializer(data=request.query_params)
    query.is_valid(raise_exception=True)
    return dict(query.validated_data)


def listed(view: APIView, rows: QuerySet[M], serializer: type[Serializer[Any]]) -> Response:
    """One page of the rows by key, as `sort` and `fields` ask, and its neighbours' addresses."""
    pages = KeysetPagination()
    page = pages.paginate_queryset(rows, view.request, view) or []
    return pages.answered(serializer, page)


def narrowed(rows: Rows, request: Request, **filters: str) -> Rows:
    """Rows of a list, narrowed by what the address asks: parameter name -> field.

    Raises Invalid for what cannot be an id or a code.
    """
    for name, field in filters.items():
        asked = request.query_params.get(name)
        if asked is not None:
            value = KINDS.get(name, _id)(name, asked)
            rows = rows.filter(**{field: value})
    return rows


def _code(name: str, text: str) -> str:
    if not one_line(text, 20):
        raise Invalid(name, text, "a site's code")
    return text


def _id(name: str, text: str) -> int:
    return row_number(text, name, "an id, as the lists give it")


KINDS: dict[str, Callable[[str, str], int | str]] = {"site": _code}
