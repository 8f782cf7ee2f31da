"""When a session was last used."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from people.sign_in.sessions import note_seen

GetResponse = Callable[[HttpRequest], HttpResponse]


class SeenMiddleware:
    """Notes it of every request of somebody signed in, to ten minutes."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The answer."""
        if request.user.is_authenticated:
            note_seen(request)
        return self.get_response(request)
