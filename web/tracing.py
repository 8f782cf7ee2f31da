"""Where time goes, as OpenTelemetry tells it: loaded only where an endpoint for traces is set.

A request or a task is one span and each of its queries another; a task sent by a request is part of
the request's trace. Named are views, tasks and statements with their placeholders, never addresses,
values or an error's words: some addresses are secrets, and values are people's.
"""

import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager

from celery import Task
from celery.signals import before_task_publish, task_failure, task_postrun, task_prerun
from django.db import connections
from django.http import HttpRequest, HttpResponse
from opentelemetry import context as current
from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
from opentelemetry.sdk.resources import Resource
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import BatchSpanProcessor
from opentelemetry.trace import Span, SpanKind, StatusCode, Tracer
from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator

from web.logs import view_of
from web.metrics import KNOWN

GetResponse = Callable[[HttpRequest], HttpResponse]
LONGEST = 2000  # characters told of a statement
PARENT = TraceContextTextMapPropagator()


class Traces:
    """Where the spans of this process go; none before `begin`."""

    provider: TracerProvider | None = None
    tracer: Tracer | None = None  # what begins spans

    def begin(self, endpoint: str) -> None:
        """Send to that OTLP endpoint from now on, in the background."""
        named = {} if os.environ.get("OTEL_SERVICE_NAME") else {"service.name": "portaledger"}
        self.provider = TracerProvider(resource=Resource.create(named))
        exporter = OTLPSpanExporter(endpoint=f"{endpoint.rstrip('/')}/v1/traces")
        self.provider.add_span_processor(BatchSpanProcessor(exporter))
        # Kept: every query asks for it.
        self.tracer = self.provider.get_tracer("portaledger")


traces = Traces()


@contextmanager
def spanned(name: str, kind: SpanKind, parent: current.Context | None = None) -> Iterator[Span]:
    """A span that says of an error only which kind it was."""
    assert traces.tracer
    with traces.tracer.start_as_current_span(
        name, parent, kind, record_exception=False, set_status_on_exception=False
    ) as span:
        try:
            yield span
        except BaseException as error:
            _failed(span, type(error).__qualname__)
            raise


def _failed(span: Span, kind: str) -> None:
    span.set_status(StatusCode.ERROR)
    span.set_attribute("error.type", kind)


# Queries.


def _query(
    execute: Callable[..., object], sql: object, params: object, many: bool, context: object
) -> object:
    # What is composed by psycopg itself may hold values.
    text = sql[:LONGEST] if isinstance(sql, str) else type(sql).__qualname__
    with spanned(text.split(None, 1)[0] if text.strip() else "query", SpanKind.CLIENT) as span:
        span.set_attributes({"db.system.name": "postgresql", "db.query.text": text})
        return execute(sql, params, many, context)


@contextmanager
def _queries() -> Iterator[None]:
    with ExitStack() as stack:
        for connection in connections.all():
            stack.enter_context(connection.execute_wrapper(_query))
        yield


# Requests.


class TracingMiddleware:
    """One span a request. What a client says of a trace of its own is not believed."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The answer."""
        if traces.tracer is None:
            return self.get_response(request)
        method = request.method if request.method in KNOWN else "other"
        with spanned(str(method), SpanKind.SERVER) as span, _queries():
            response = self.get_response(request)
            view = view_of(request)
            span.update_name(f"{method} {view}")
            span.set_attributes(
                {
                    "http.request.method": str(method),
                    "http.route": view,
                    "http.response.status_code": response.status_code,
                    "portaledger.request": response.headers.get("X-Request-ID", ""),
                }
            )
            if response.status_code >= 500:
                _failed(span, str(response.status_code))
        return response


# Tasks.

_running: dict[str, tuple[Span, ExitStack]] = {}


@before_task_publish.connect
def _sent(headers: dict[str, str], **_: object) -> None:
    if traces.tracer:
        PARENT.inject(headers)


@task_prerun.connect
def _begins(task_id: str, task: Task[..., object], **_: object) -> None:
    if traces.tracer is None:
        return
    stack = ExitStack()
    parent = PARENT.extract({"traceparent": str(task.request.get("traceparent") or "")})
    span = stack.enter_context(spanned(task.name, SpanKind.CONSUMER, parent))
    span.set_attribute("portaledger.task", task_id)
    stack.enter_context(_queries())
    _running[task_id] = span, stack


@task_failure.connect
def _fails(task_id: str, exception: BaseException, **_: object) -> None:
    if task_id in _running:
        _failed(_running[task_id][0], type(exception).__qualname__)


@task_postrun.connect
def _ends(task_id: str, **_: object) -> None:
    if found := _running.pop(task_id, None):
        found[1].close()
