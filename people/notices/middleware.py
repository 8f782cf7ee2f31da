"""What somebody has seen for themselves is kept after each page."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from people.notices.seen import note_opened

GetResponse = Callable[[HttpRequest], HttpResponse]


class OpenedMiddleware:
    """Notes that a page was opened which matters lead to."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The answer."""
        response = self.get_response(request)
        note_opened(request, response)
        return response
