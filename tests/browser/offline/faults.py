"""A server, or what stands before it, that fails now and then at what is sent."""

import time
from collections.abc import Callable
from dataclasses import dataclass

import pytest
from django.http import HttpRequest, HttpResponse

from web.middleware import RequestContextMiddleware
from web.queued import is_queued


@dataclass
class Faults:
    """What happens to the next thing that is sent; each once."""

    before: int = 0  # this status, and nothing is done
    after: bool = False  # done, and the answer is lost on the way: a gateway's 502
    pause: float = 0  # seconds, before anything

    def clear(self) -> None:
        """A good line from now on."""
        self.before, self.after, self.pause = 0, False, 0

    def around(self, request: HttpRequest, answered: Callable[[], HttpResponse]) -> HttpResponse:
        """Answer, or fail as was asked for."""
        if not is_queued(request):
            return answered()
        pause, before, after = self.pause, self.before, self.after
        self.clear()
        time.sleep(pause)
        if before:
            return HttpResponse("failed", status=before)
        response = answered()
        return HttpResponse("lost", status=502) if after else response


def failing(monkeypatch: pytest.MonkeyPatch) -> Faults:
    """Faults of the server of this test."""
    faults, really = Faults(), RequestContextMiddleware.__call__

    def call(self: RequestContextMiddleware, request: HttpRequest) -> HttpResponse:
        return faults.around(request, lambda: really(self, request))

    monkeypatch.setattr(RequestContextMiddleware, "__call__", call)
    return faults
