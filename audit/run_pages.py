"""Pages of runs: the newest answer with those before it, and one run, which tells how far it is."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from audit.capture.context import Actor
from audit.errors import NotFound
from audit.reading.access import require_every_site
from audit.runs import Group, L, R, Runs, RunState

LISTED = 20


@dataclass(frozen=True)
class RunPages(Generic[R, L]):
    """The pages of one kind of runs. `one` is the template of a run, `part` what of it asks for
    itself while the run is under way."""

    runs: Runs[R]
    groups: Callable[[R], list[Group[L]]]
    one: str
    part: str

    def newest(self) -> dict[str, object]:
        """For the page that asks for another: the newest run, and those before it."""
        every = list(self.runs.model._default_manager.all()[: LISTED + 1])
        return {"earlier": every[1:], **(self._shown(every[0]) if every else {})}

    def answer(self, request: HttpRequest, pk: int) -> HttpResponse:
        """One run, or its part. Raises NotPermitted, NotFound."""
        require_every_site(request.user)
        run = self.runs.model._default_manager.filter(pk=pk).first()
        if run is None:
            raise NotFound(f"There is no such {self.runs.word}.")
        is_part = request.headers.get("HX-Request") == "true"
        return render(request, self.part if is_part else self.one, self._shown(run))

    def _shown(self, run: R) -> dict[str, object]:
        state: Any = run
        is_running = state.state == RunState.RUNNING
        return {
            "run": run,
            "running": is_running,
            "silent": is_running and self.runs.silent().filter(pk=run.pk).exists(),
            "groups": self.groups(run),
        }


def actor_of(request: HttpRequest) -> Actor:
    """Who asks, behind a page for people signed in."""
    return request.user  # type: ignore[return-value]  # signed in, or it would not be here
