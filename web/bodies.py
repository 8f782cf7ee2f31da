"""How much may be sent: asked of the request's own headers, before anything reads it.

Django's limit (DATA_UPLOAD_MAX_MEMORY_SIZE) holds for forms alone, neither for files nor for JSON
that REST framework reads, and a form's files would be stored before anybody has signed in.
"""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from web.problems import too_large

BodyResponse = Callable[[HttpRequest], HttpResponse]


class BodyLimitMiddleware:
    """Answers 413 to a body of more than LARGEST_BODY bytes.

    One without a Content-Length is none: WSGI then has nothing to read.
    """

    def __init__(self, get_response: BodyResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The answer."""
        if length_of(request) > settings.LARGEST_BODY:
            return too_large(request)
        return self.get_response(request)


def length_of(request: HttpRequest) -> int:
    """Bytes announced; 0 where that is no number, as Django reads none then."""
    try:
        return int(request.META.get("CONTENT_LENGTH") or 0)
    except ValueError:
        return 0
