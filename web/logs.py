"""What a line of the log says beside its words: when, which request or task, and who asked.

By the request's id the entries of the history are found that it wrote, and the answer's header has
it as well. No address is told, since some are secrets, and nothing that was typed.
"""

import logging
from collections.abc import MutableMapping
from datetime import UTC, datetime
from logging import Filter, Formatter, LogRecord
from typing import Any

import structlog
from celery import current_task
from django.http import HttpRequest, HttpResponse
from django.urls import Resolver404, resolve
from structlog.stdlib import ProcessorFormatter

from audit.capture.context import request_context

logger = logging.getLogger("portaledger.requests")


def note_request(request: HttpRequest, response: HttpResponse, view: str, taken: float) -> None:
    """One line for an answer; the person only if somebody asked already who it is."""
    person = getattr(getattr(request, "_cached_user", None), "pk", None)
    told = {
        "view": view,
        "method": request.method,
        "status": response.status_code,
        "milliseconds": round(taken * 1000),
        "person": person,
        "request": response.headers.get("X-Request-ID", ""),
    }
    logger.info("%s %s", request.method, view, extra={"told": told})


def where(_: object, __: str, event: MutableMapping[str, Any]) -> MutableMapping[str, Any]:
    """Beside the words: request or task, channel and client, as the history has them."""
    about, record = request_context.get(), event.get("_record")
    if about.request_id:
        event.update(request=about.request_id, channel=about.channel.value)
    if current_task and (task := current_task.request).id:
        event.update(task=current_task.name, task_id=task.id)
    event.update(getattr(record, "told", {}))
    return event


def view_of(request: HttpRequest) -> str:
    """The name of the page or endpoint, also of one that was not come to; "none" where none is."""
    try:
        match = request.resolver_match or resolve(request.path_info)
    except Resolver404:
        return "none"
    return match.view_name


class WithoutAddresses(Filter):
    """What Django says of a request names its view and its id: by some addresses a link works."""

    def filter(self, record: LogRecord) -> bool:
        """Every record passes."""
        request = getattr(record, "request", None)
        if isinstance(request, HttpRequest) and isinstance(record.args, tuple):
            told = request_context.get().request_id or vars(request).get("request_id", "unknown")
            named = f"{view_of(request)}, request {told}"
            address = request.path.encode("unicode_escape").decode()  # as Django writes it there
            record.args = tuple(named if each == address else each for each in record.args)
        return True


class JsonLines(ProcessorFormatter):
    """Every record as one JSON object."""

    def __init__(self) -> None:
        stamps = structlog.processors.TimeStamper(fmt="iso", utc=True, key="at")
        super().__init__(
            foreign_pre_chain=[structlog.stdlib.add_log_level, structlog.stdlib.add_logger_name],
            processors=[
                where,
                stamps,
                structlog.processors.format_exc_info,
                ProcessorFormatter.remove_processors_meta,
                structlog.processors.JSONRenderer(),
            ],
        )


class Lines(Formatter):
    """For people: times in UTC to the millisecond (RFC 3339), whatever the zone of the machine."""

    def formatTime(self, record: LogRecord, datefmt: str | None = None) -> str:  # noqa: N802
        """The record's moment."""
        return datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
