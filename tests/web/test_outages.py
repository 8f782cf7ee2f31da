"""Which faults are an outage, and how they are told; everything else stays a fault of ours."""

import logging
from io import StringIO

import psycopg
import pytest
from django.db import ProgrammingError, connection
from django.db.migrations.recorder import MigrationRecorder
from kombu.exceptions import OperationalError as QueueError
from psycopg import errors as sqlstates
from psycopg_pool import PoolTimeout

from tests.cast import Cast, SignedIn
from web import outages
from web.outages import WithoutTraceback, why_away


def raised_from(cause: BaseException) -> Exception:
    """As Django wraps what its driver raises."""
    error = ProgrammingError("wrapped")
    error.__cause__ = cause
    return error


@pytest.mark.parametrize(
    ("cause", "said"),
    [
        (sqlstates.AdminShutdown(), outages.DATABASE),
        (sqlstates.CannotConnectNow(), outages.DATABASE),
        (sqlstates.ReadOnlySqlTransaction(), outages.DATABASE),
        (psycopg.OperationalError("server closed the connection"), outages.DATABASE),
        (psycopg.InterfaceError("the connection is closed"), outages.DATABASE),
        (PoolTimeout("couldn't get a connection"), outages.CROWDED),
        (sqlstates.TooManyConnections(), outages.CROWDED),
        (sqlstates.DiskFull(), outages.FULL),
        (sqlstates.QueryCanceled(), outages.TOO_LONG),
        (QueueError("timed out"), outages.BROKER),
        (sqlstates.SyntaxError(), ""),
        (sqlstates.UniqueViolation(), ""),
        (ValueError("a fault of ours"), ""),
    ],
)
def test_what_an_outage_is_and_what_is_said(cause: Exception, said: str) -> None:
    assert why_away(raised_from(cause)) == said
    assert why_away(None) == ""


@pytest.mark.django_db(transaction=True)
def test_tables_of_another_version_are_told_as_an_update() -> None:
    missing = raised_from(sqlstates.UndefinedColumn())
    assert why_away(missing) == "", "with the tables it belongs to it is a fault of ours"
    recorder = MigrationRecorder(connection)
    recorder.record_applied("web", "9999_from_tomorrow")
    try:
        assert why_away(missing) == outages.UPDATING
    finally:
        recorder.record_unapplied("web", "9999_from_tomorrow")


def test_the_log_has_one_line_of_it() -> None:
    stream = StringIO()
    handler = logging.StreamHandler(stream)
    handler.addFilter(WithoutTraceback())
    logger = logging.Logger("one")
    logger.addHandler(handler)
    for cause in (sqlstates.AdminShutdown(), ValueError("a fault of ours")):
        try:
            raise cause
        except Exception:
            logger.exception("Placing %s failed", 7)
    first, *rest = stream.getvalue().splitlines()
    assert first == f"Placing 7 failed - {outages.DATABASE}"
    assert "Traceback" in rest[1]


def test_a_page_says_it(cast: Cast, signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(*_: object, **__: object) -> None:
        raise raised_from(sqlstates.AdminShutdown())

    monkeypatch.setattr("web.offline.render", gone)
    browser = signed_in(cast.owner)
    browser.raise_request_exception = False
    answer = browser.get("/waiting/")
    assert answer.status_code == 503
    assert answer["Retry-After"] == "5"
    assert answer["X-Request-ID"] in answer.content.decode()
    assert outages.DATABASE in answer.content.decode()
