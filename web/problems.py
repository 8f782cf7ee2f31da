"""Every error of the API as problem details (RFC 9457), whatever raised it."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from drf_spectacular.utils import extend_schema
from rest_framework import exceptions, serializers, status
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import exception_handler

from audit.endpoint import Endpoint
from audit.errors import UNSHOWN, DomainError, Invalid, Problem, Refused, Stale, shown
from web.errors import KINDS, Kind, as_domain_error, kind_named, kind_of, kind_of_status

MEDIA_TYPE = "application/problem+json"


class PreconditionRequired(exceptions.APIException):
    """An edit without If-Match."""

    status_code = status.HTTP_428_PRECONDITION_REQUIRED
    default_detail = (
        "Send If-Match with the ETag you read, so that nobody's change is overwritten unseen."
    )
    default_code = "precondition_required"


class OfKind(exceptions.APIException):
    """An error that says which of the kinds with its number it is."""

    slug = ""


def problem_details(raised: Exception, context: Mapping[str, Any]) -> Response | None:
    """REST framework's EXCEPTION_HANDLER; None (a 500 and its report) for what is not foreseen."""
    error = as_domain_error(raised)
    if error:
        return _answer(kind_of(error), error.message, context, _extras(error))
    if isinstance(raised, Http404):
        raised = exceptions.NotFound("There is nothing here, or not for you.")
    if isinstance(raised, PermissionDenied):
        raised = exceptions.PermissionDenied()
    if not isinstance(raised, exceptions.APIException):
        return None
    standard = exception_handler(raised, dict(context))
    headers = dict(standard.headers) if standard else {}
    named = raised.slug if isinstance(raised, OfKind) else ""
    kind = kind_named(named) if named else kind_of_status(raised.status_code)
    if isinstance(raised, exceptions.ValidationError):
        problems = list(_listed(raised.detail, _sent(context)))
        return _answer(kind, _summary(problems), context, {"problems": problems}, headers)
    return _answer(kind, str(raised.detail), context, {}, headers)


def plain_problem(request: HttpRequest, code: int, detail: str) -> JsonResponse:
    """The same shape for errors outside REST framework: unknown addresses, CSRF, crashes."""
    return JsonResponse(
        _body(kind_of_status(code), detail, request.path), status=code, content_type=MEDIA_TYPE
    )


def _answer(
    kind: Kind,
    detail: str,
    context: Mapping[str, Any],
    extras: Mapping[str, Any],
    headers: Mapping[str, str] | None = None,
) -> Response:
    request = context.get("request")
    body = {**_body(kind, detail, request.path if request else ""), **extras}
    kept = {k: v for k, v in (headers or {}).items() if k in ("WWW-Authenticate", "Retry-After")}
    return Response(body, status=kind.status, headers=kept, content_type=MEDIA_TYPE)


def _body(kind: Kind, detail: str, instance: str) -> dict[str, Any]:
    return {
        "type": kind.uri,
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
        "instance": instance,
    }


def _extras(raised: DomainError) -> dict[str, Any]:
    if isinstance(raised, Invalid):
        return {"problems": [_shown(problem) for problem in raised.problems]}
    if isinstance(raised, Refused):
        return {"who_may": raised.who_may, "how_to_ask": raised.how_to_ask}
    if isinstance(raised, Stale):
        return {"current_revision": raised.current_revision}
    return {}


def _shown(problem: Problem) -> dict[str, str]:
    return {"field": problem.field, "value": _quoted(problem.value), "allowed": problem.allowed}


def _listed(detail: Any, sent: Any, path: str = "") -> Iterator[dict[str, str]]:  # noqa: ANN401
    """One line a fault: the field by its path, the value that was sent, what is allowed."""
    if isinstance(detail, str):
        yield {"field": path, "value": _quoted(sent), "allowed": str(detail)}
    elif isinstance(detail, Mapping):
        for name, inner in detail.items():
            yield from _listed(inner, _inside(sent, name), _joined(path, name))
    else:
        for place, inner in enumerate(detail):
            # A list of sentences is about its field as a whole, one of objects about its items.
            own = isinstance(inner, str)
            where = path if own else _joined(path, place)
            yield from _listed(inner, sent if own else _inside(sent, place), where)


def _joined(path: str, name: object) -> str:
    if name == "non_field_errors":
        return path
    if isinstance(name, int):
        return f"{path}[{name}]"
    return f"{path}.{name}" if path else str(name)


def _inside(sent: Any, name: object) -> Any:  # noqa: ANN401
    try:
        return sent[name]
    except (KeyError, IndexError, TypeError):
        return sent if name == "non_field_errors" else None


def _quoted(sent: Any) -> str:  # noqa: ANN401
    """Short and printable; a whole object is not sent back."""
    return "" if sent is None or isinstance(sent, dict | list) else shown(sent)


def _sent(context: Mapping[str, Any]) -> Any:  # noqa: ANN401
    request = context.get("request")
    if request is None:
        return {}
    if request.method in ("GET", "HEAD"):
        return request.query_params
    data = request.data
    hidden = {"password", "current_password"}
    if isinstance(data, Mapping):
        return {k: (UNSHOWN if k in hidden else v) for k, v in data.items()}
    return data


def _summary(problems: Sequence[Mapping[str, str]]) -> str:
    lines = []
    for problem in problems:
        value = f" (given: {problem['value']})" if problem["value"] else ""
        field = f"{problem['field']}: " if problem["field"] else ""
        lines.append(f"{field}{problem['allowed']}{value}")
    return " ".join(lines) or "The request is not valid."


# Answers where no view could give one: pages in the product's words, problems for the API.

API = "/api/"
SENTENCES = {
    400: "The request can't be used as it was sent. Nothing was changed.",
    403: "Your roles or sites do not allow this.",
    404: "There is nothing at this address, or nothing that is yours to see.",
    413: "More was sent than is accepted at once. Nothing was changed.",
    500: "Something failed on our side. Nothing was half-saved.",
}


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """400."""
    return page_answer(request, 400)


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    """403."""
    return page_answer(request, 403)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """404."""
    return page_answer(request, 404)


def too_large(request: HttpRequest) -> HttpResponse:
    """413."""
    return page_answer(request, 413)


def page_answer(request: HttpRequest, status: int) -> HttpResponse:
    """That status: a page, or a problem of the API. A 500 and a 503 are web.unavailable's."""
    if request.path.startswith(API):
        return plain_problem(request, status, SENTENCES[status])
    return render(request, f"errors/{status}.html", status=status)


# What each `type` of a problem means.


class KindOut(serializers.Serializer[Kind]):
    """One kind of problem."""

    type = serializers.CharField(source="uri")
    status = serializers.IntegerField()
    title = serializers.CharField()
    about = serializers.CharField()


class Problems(Endpoint):
    """The kinds of problem the API answers."""

    permission_classes = [AllowAny]

    @extend_schema(responses=KindOut(many=True))
    def get(self, request: Request) -> Response:
        """List them."""
        return Response([KindOut(kind).data for kind in KINDS])
