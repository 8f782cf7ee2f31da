"""What a bar without a line has: scripts of the service worker, and the page of what waits."""

from django.http import HttpResponse
from django.shortcuts import render

from web.pages import PageRequest, page
from web.service_worker import register_script

SCRIPTS = ("queue", "kept", "sending", "worker")


def register_scripts() -> None:
    """Let the browser's worker import them. Called once, when the program starts."""
    for name in SCRIPTS:
        register_script(f"js/offline/{name}.js")


@page(kept=True)
def waiting(request: PageRequest) -> HttpResponse:
    """What was noted on this device, as its own script lists it: the server does not know."""
    return render(request, "web/offline/waiting.html")
