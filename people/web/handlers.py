"""Answers where no view could give one: pages in the product's words, problems for the API."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from people.web.problems import plain_problem

API = "/api/"
SENTENCES = {
    400: "The request can't be used as it was sent. Nothing was changed.",
    403: "Your roles or sites do not allow this.",
    404: "There is nothing at this address, or nothing that is yours to see.",
    413: "More was sent than is taken at once. Nothing was changed.",
    500: "Something failed on our side. Nothing was half-written.",
}


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """400."""
    return _answer(request, 400)


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    """403."""
    return _answer(request, 403)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """404."""
    return _answer(request, 404)


def too_large(request: HttpRequest) -> HttpResponse:
    """413."""
    return _answer(request, 413)


def failed(request: HttpRequest) -> HttpResponse:
    """500."""
    return _answer(request, 500)


def _answer(request: HttpRequest, status: int) -> HttpResponse:
    if request.path.startswith(API):
        return plain_problem(request, status, SENTENCES[status])
    return render(request, f"errors/{status}.html", status=status)
