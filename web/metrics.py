"""What is counted and measured for those who watch over a deployment, by Prometheus's library.

Each process counts for itself. Where `PROMETHEUS_MULTIPROC_DIR` names a folder that all processes
of a machine share, one of them answers for all; workers are counted then as well.
"""

import logging
import time
from collections.abc import Callable, Iterator

from celery import Task
from celery.signals import task_failure, task_postrun, task_prerun
from django.http import HttpRequest, HttpResponse
from prometheus_client import Counter, Histogram
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from web.logs import note_request, view_of

logger = logging.getLogger(__name__)
GetResponse = Callable[[HttpRequest], HttpResponse]
SECONDS = (0.01, 0.03, 0.1, 0.3, 1, 3, 10, 30)
WATCHERS = frozenset({"healthz", "livez", "readyz", "metrics"})

requests = Counter("portaledger_requests", "Answers given", ["view", "method", "status"])
request_seconds = Histogram(
    "portaledger_request_seconds", "Time until an answer", ["channel"], buckets=SECONDS
)
tasks = Counter("portaledger_tasks", "Tasks run by workers", ["task", "outcome"])
task_seconds = Histogram(
    "portaledger_task_seconds", "Time of a task", ["task"], buckets=(*SECONDS, 100, 300)
)


class MeasuringMiddleware:
    """Counts and times every answer, and has the log note it."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The answer."""
        began = time.perf_counter()
        response = self.get_response(request)
        taken = time.perf_counter() - began
        # By the name of the view: addresses are without number, and some are secrets.
        view = view_of(request)
        if view not in WATCHERS:
            channel = "api" if request.path.startswith("/api/") else "page"
            method = request.method if request.method in KNOWN else "other"
            requests.labels(view, method, response.status_code).inc()
            request_seconds.labels(channel).observe(taken)
            note_request(request, response, view, taken)
        return response


KNOWN = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
_began: dict[str, float] = {}


@task_prerun.connect
def _begins(task_id: str, **_: object) -> None:
    _began[task_id] = time.perf_counter()


@task_postrun.connect
def _ended(task_id: str, task: Task[..., object], state: str | None = None, **_: object) -> None:
    taken = time.perf_counter() - _began.pop(task_id, time.perf_counter())
    task_seconds.labels(task.name).observe(taken)
    tasks.labels(task.name, (state or "unknown").lower()).inc()


@task_failure.connect
def _failed(sender: Task[..., object], **_: object) -> None:
    tasks.labels(sender.name, "raised").inc()


# What stands in the database and is worked out when it is asked for.

Figure = Callable[[], float]
_figures: dict[str, tuple[str, Figure]] = {}


def register_figure(name: str, about: str) -> Callable[[Figure], Figure]:
    """Have a figure told under that name; `about` has its unit."""

    def entered(figure: Figure) -> Figure:
        _figures[name] = about, figure
        return figure

    return entered


class Figures(Collector):
    """Every figure there is; one that can't be worked out just now is left out, and counted."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        """For Prometheus's registry."""
        unknown = 0
        for name, (about, figure) in _figures.items():
            try:
                value = figure()
            except Exception as error:
                logger.warning("%s is not known: %s", name, error)
                unknown += 1
                continue
            yield GaugeMetricFamily(name, about, value=value)
        # A rule about a figure that is not told says nothing.
        yield GaugeMetricFamily(
            "portaledger_figures_unknown", "Figures that can't be worked out", value=unknown
        )
