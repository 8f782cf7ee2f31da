"""What a collector is sent, read by the protocol's own messages (OTLP 1.x, protobuf)."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread

import pytest
from celery import current_app, shared_task
from celery.app.trace import trace_task
from celery.signals import before_task_publish
from django.db import connection
from django.http import HttpRequest, HttpResponse
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest
from opentelemetry.proto.trace.v1.trace_pb2 import Span

from tests.tooling.listing import ROOT
from web.tracing import TracingMiddleware, traces

SECRET = "a-secret-in-the-address"


class Collector(BaseHTTPRequestHandler):
    """Keeps every span it is sent."""

    spans: list[Span]

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        told = ExportTraceServiceRequest.FromString(body)
        for resource in told.resource_spans:
            for scope in resource.scope_spans:
                self.spans.extend(scope.spans)
        self.send_response(200)
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Nothing."""


@pytest.fixture
def told() -> Iterator[list[Span]]:
    """The spans that come in, once they are sent by `sent`."""
    kept: list[Span] = []
    handler = type("Kept", (Collector,), {"spans": kept})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    Thread(target=server.serve_forever, daemon=True).start()
    traces.begin(f"http://127.0.0.1:{server.server_port}")
    yield kept
    assert traces.provider
    traces.provider.shutdown()
    traces.provider = traces.tracer = None
    server.shutdown()
    server.server_close()


def sent(told: list[Span]) -> list[Span]:
    assert traces.provider
    traces.provider.force_flush()
    return told


def said(span: Span) -> dict[str, str]:
    return {
        each.key: each.value.string_value or str(each.value.int_value) for each in span.attributes
    }


def answered(path: str, ask: str = "SELECT 'x' WHERE 'x' = %s", **headers: str) -> HttpResponse:
    """A page that asks the database something about a person's word."""

    def page(_: HttpRequest) -> HttpResponse:
        with connection.cursor() as cursor:
            cursor.execute(ask, ["a person's word"])
        return HttpResponse("there", headers={"X-Request-ID": "r1"})

    request = HttpRequest()
    request.method, request.path, request.path_info = "GET", path, path
    request.META.update(headers)
    return TracingMiddleware(page)(request)


@pytest.mark.django_db
def test_a_request_is_told_with_its_queries(told: list[Span]) -> None:
    answered("/people/")
    query, request = sent(told)
    assert request.name == "GET people:list"
    assert said(request) == {
        "http.request.method": "GET",
        "http.route": "people:list",
        "http.response.status_code": "200",
        "portaledger.request": "r1",
    }
    assert said(query)["db.query.text"] == "SELECT 'x' WHERE 'x' = %s"
    assert (query.trace_id, query.parent_span_id) == (request.trace_id, request.span_id)
    assert request.start_time_unix_nano < query.start_time_unix_nano < query.end_time_unix_nano


@pytest.mark.django_db
@pytest.mark.parametrize("path", [f"/account/password/reset/key/{SECRET}/", f"/nowhere/{SECRET}"])
def test_neither_addresses_nor_values_are_told(told: list[Span], path: str) -> None:
    answered(path)
    everything = "".join(str(span) for span in sent(told))
    assert everything
    assert SECRET not in everything
    assert "a person's word" not in everything


@pytest.mark.django_db
def test_of_an_error_its_kind_is_told_and_not_its_words(told: list[Span]) -> None:
    with pytest.raises(Exception, match="a person's word"):
        answered("/people/", "SELECT CAST(%s AS integer)")
    query, request = sent(told)
    assert said(query)["error.type"] == said(request)["error.type"] == "DataError"
    assert query.status.code == request.status.code == 2  # STATUS_CODE_ERROR
    assert "a person's word" not in f"{query}{request}"


@pytest.mark.django_db
def test_a_trace_that_a_client_names_is_not_taken_up(told: list[Span]) -> None:
    claimed = "4bf92f3577b34da6a3ce929d0e0e4736"  # W3C Trace Context's own example
    answered("/people/", HTTP_TRACEPARENT=f"00-{claimed}-00f067aa0ba902b7-01")
    _, request = sent(told)
    assert request.trace_id.hex() != claimed
    assert not request.parent_span_id


@shared_task(name="tests.web.asks")
def asks(fails: bool = False) -> None:
    """A task that asks something."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    if fails:
        raise ArithmeticError("a person's word")


@pytest.mark.django_db
@pytest.mark.parametrize("fails", [False, True])
def test_a_task_is_told_with_its_queries(told: list[Span], fails: bool) -> None:
    parent = "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01"
    request = {"id": "t1", "traceparent": parent}
    # As a worker calls it: the message's headers are the request's.
    trace_task(asks, "t1", (fails,), {}, request=request, app=current_app)
    query, task = sent(told)
    assert (query.name, task.name) == ("SELECT", "tests.web.asks")
    assert query.parent_span_id == task.span_id
    assert task.trace_id.hex() == "4bf92f3577b34da6a3ce929d0e0e4736"
    assert task.parent_span_id.hex() == "00f067aa0ba902b7"
    assert said(task).get("error.type") == ("ArithmeticError" if fails else None)
    assert "a person's word" not in f"{query}{task}"


@pytest.mark.django_db
def test_what_a_request_sends_to_the_queue_is_of_its_trace(told: list[Span]) -> None:
    headers: dict[str, str] = {}

    def page(_: HttpRequest) -> HttpResponse:
        before_task_publish.send(sender="tests.web.asks", headers=headers)
        return HttpResponse()

    request = HttpRequest()
    request.method, request.path_info = "GET", "/people/"
    TracingMiddleware(page)(request)
    (span,) = sent(told)
    assert headers["traceparent"].split("-")[1:3] == [span.trace_id.hex(), span.span_id.hex()]


ASK = """
import json, sys
import django
django.setup()
from django.conf import settings
from django.core.wsgi import get_wsgi_application
get_wsgi_application()
there = any("tracing" in each for each in settings.MIDDLEWARE)
print(json.dumps([there, "web.tracing" in sys.modules]))
"""


@pytest.mark.parametrize("endpoint", ["", "http://127.0.0.1:9"])
def test_without_an_endpoint_nothing_of_it_is_loaded(endpoint: str) -> None:
    environment = os.environ | {
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "PORTALEDGER_MODE": "test",
        "OTEL_EXPORTER_OTLP_ENDPOINT": endpoint,
    }
    done = subprocess.run(
        [sys.executable, "-c", ASK],
        cwd=ROOT, env=environment, check=True, capture_output=True, text=True,
    )  # fmt: skip
    assert json.loads(done.stdout) == [bool(endpoint), bool(endpoint)]
