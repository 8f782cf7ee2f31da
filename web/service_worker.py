"""The one service worker of a browser, put together from the scripts of those who need it.

A browser has one worker for all pages. What it does is registered by name: a file under static/,
which the worker imports. Each file adds its own listeners and knows nothing of the others.
"""

from django.http import HttpRequest, HttpResponse
from django.templatetags.static import static
from django.views.decorators.http import require_safe

_SCRIPTS: list[str] = []


def register_script(path: str) -> None:
    """Let the worker import that file of static/. Called once, when the program starts."""
    if path not in _SCRIPTS:
        _SCRIPTS.append(path)


@require_safe
def service_worker(request: HttpRequest) -> HttpResponse:
    """The worker, at the root so that it may serve every page; the same for everybody.

    Where static files have hashed names a changed file is another text here, so that browsers take
    up the new worker by themselves.
    """
    lines = [f'importScripts("{static(path)}");' for path in _SCRIPTS]
    return HttpResponse("\n".join([*lines, ""]), content_type="text/javascript")
