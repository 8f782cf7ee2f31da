"""What endpoints need of a request, typed and said once."""

from typing import Any, TypeVar

from django.db.models import Model, QuerySet
from rest_framework.exceptions import NotAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ModelSerializer, Serializer
from rest_framework.views import APIView

from audit.context import record_refusal
from audit.errors import NotPermitted
from people.history import ENDPOINT_REFUSED
from people.models import User
from people.permissions import require
from people.verbs import Verb
from people.web.paging import KeysetPagination

M = TypeVar("M", bound=Model)


class GuardedView(APIView):
    """An endpoint for those who may do `verb` somewhere; others get 403, the history a line.

    Which sites, and each single change, is checked where the rows are chosen and in the action.
    """

    verb: Verb

    def check_permissions(self, request: Request) -> None:
        """Sign-in and token scopes first, then the verb. Raises NotPermitted."""
        super().check_permissions(request)
        try:
            require(person(request), self.verb)
        except NotPermitted as refused:
            record_refusal(refused, by=person(request), action=ENDPOINT_REFUSED)
            raise


def person(request: Request) -> User:
    """The person acting. Raises NotAuthenticated (401) if there is none."""
    if not isinstance(request.user, User):
        raise NotAuthenticated
    return request.user


def valid(serializer: type[Serializer[Any]], request: Request) -> dict[str, Any]:
    """The body, checked. Raises ValidationError (400) naming each field."""
    body = serializer(data=request.data)
    body.is_valid(raise_exception=True)
    return dict(body.validated_data)


def listed(view: APIView, rows: QuerySet[M], serializer: type[ModelSerializer[M]]) -> Response:
    """One page of the rows by key, with the addresses of its neighbours."""
    pages = KeysetPagination()
    found = pages.paginate_queryset(rows, view.request, view) or []
    return pages.get_paginated_response(serializer(found, many=True).data)
