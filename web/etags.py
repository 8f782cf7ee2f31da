"""Lost updates refused: an ETag on everything edited, If-Match on every edit (RFC 9110, 6585)."""

import hashlib
from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

from django.http import HttpRequest
from django.utils.http import parse_etags
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from audit.errors import Stale
from audit.revision import Revised
from web.problems import PreconditionRequired

P = ParamSpec("P")
View = TypeVar("View", bound=APIView)
Handler = Callable[Concatenate[View, Request, P], Response]


def etag_of(thing: Revised, data: Mapping[str, Any]) -> str:
    """The strong tag of what is shown of one revision of one thing: "site-4-17.2f1c…".

    An edit is held against the revision alone. A copy is right only as long as all of it is: what
    is shown beside the thing (slots placed, the version approved now) changes without an edit.
    """
    shown = hashlib.sha256(JSONRenderer().render(data)).hexdigest()
    return f'"{_revision_of(thing)}.{shown[:16]}"'


def _revision_of(thing: Revised) -> str:
    return f"{thing._meta.model_name}-{thing.pk}-{thing.revision}"


def matching(handler: Handler[View, P]) -> Handler[View, P]:
    """For a view's `put`, `patch` or acting `post`: 428 before anything else without If-Match."""

    @wraps(handler)
    def wrapped(self: View, request: Request, /, *args: P.args, **kwargs: P.kwargs) -> Response:
        _tags(request)
        return handler(self, request, *args, **kwargs)

    wrapped.needs_match = True  # type: ignore[attr-defined]  # for the OpenAPI description
    return wrapped


def _tags(request: Request | HttpRequest) -> list[str]:
    given = parse_etags(request.headers.get("If-Match", ""))
    if not given or given == ["*"]:
        raise PreconditionRequired
    return given


def expected_revision(request: Request | HttpRequest, thing: Revised) -> int:
    """The revision the caller has seen, for the action's compare-and-set.

    Raises PreconditionRequired (428) without If-Match or with a bare star, and Stale (412) when
    no tag given is the current one. Only the action's own compare-and-set closes the race.
    """
    # Strong comparison: a weak tag (W/"…") matches nothing here.
    if f'"{_revision_of(thing)}' not in [tag.partition(".")[0] for tag in _tags(request)]:
        raise Stale(
            f"{thing} has changed since you read it: read it again and repeat your change.",
            current_revision=thing.revision,
        )
    return thing.revision


def tagged(
    request: Request,
    thing: Revised,
    data: Mapping[str, Any],
    status: int = 200,
    headers: Mapping[str, str] | None = None,
) -> Response:
    """An answer with its ETag; 304 without a body for a GET whose If-None-Match has it."""
    tag = etag_of(thing, data)
    copies = parse_etags(request.headers.get("If-None-Match", ""))
    # Weak comparison is the rule here (RFC 9110, 13.1.2).
    seen = tag in [other.removeprefix("W/") for other in copies]
    if request.method in ("GET", "HEAD") and (seen or copies == ["*"]):
        return Response(status=304, headers={"ETag": tag})
    return Response(data, status=status, headers={**(headers or {}), "ETag": tag})
