"""Which faults are an outage: something the program leans on is away, full or overrun.

Nothing of ours is wrong then, and the same sent again a little later works.
"""

from collections.abc import Iterator
from logging import Filter, LogRecord

import psycopg
from django.db import DEFAULT_DB_ALIAS, Error, InterfaceError, connections
from django.db.migrations.loader import MigrationLoader
from kombu.exceptions import OperationalError as QueueError
from psycopg_pool import PoolTimeout, TooManyRequests
from redis.exceptions import RedisError

from web.answering import watch

DATABASE = "The database does not answer just now."
CROWDED = "More is asked just now than can be answered at once."
TOO_LONG = "This took too long and was given up."
FULL = "The database has no room left to write to."
BROKER = "The queue of the workers does not answer just now."
UPDATING = "The program is being updated: its tables are newer or older than this part of it."

# SQLSTATE by its first characters, the first that fits (PostgreSQL's manual, appendix A).
STATES = (
    ("57014", TOO_LONG),  # query_canceled: past its time limit
    ("57P", DATABASE),  # operator_intervention: shutting down, crashed, starting
    ("53100", FULL),  # disk_full
    ("53", CROWDED),  # insufficient_resources
    ("08", DATABASE),  # connection_exception
    ("25006", DATABASE),  # read_only_sql_transaction: a standby, not the first one yet
    ("58", DATABASE),  # system_error
    ("55P03", CROWDED),  # lock_not_available, where no page of its own could say so (web.errors)
)
# What a program meets whose tables are another version's: undefined_table, undefined_column,
# not_null_violation of a new column, undefined_function.
OTHER_TABLES = ("42P01", "42703", "23502", "42883")


def why_away(raised: BaseException | None) -> str:
    """The sentence for an outage; empty for any other fault."""
    return next(filter(None, map(_sentence, _behind(raised))), "")


def tables_differ() -> bool:
    """Whether migrations are applied that this program does not know, or the other way round.

    Asked on a connection of its own: the one at hand may be in a transaction that failed.
    """
    aside = connections[DEFAULT_DB_ALIAS].copy()
    try:
        loader = MigrationLoader(aside)
        return set(loader.applied_migrations) != set(loader.disk_migrations)
    except Error:
        return False
    finally:
        aside.close()


class WithoutTraceback(Filter):
    """In the log an outage is one line: the same traceback from every request tells nobody more."""

    def filter(self, record: LogRecord) -> bool:
        """Every record passes."""
        raised = record.exc_info[1] if record.exc_info else None
        if raised is not None and (why := why_away(raised)):
            record.msg, record.args = f"{record.getMessage()} - {why}", None
            record.exc_info = record.exc_text = None
        return True


def _behind(raised: BaseException | None) -> Iterator[BaseException]:
    """The error and those it came from."""
    seen: set[int] = set()
    while raised is not None and id(raised) not in seen:
        seen.add(id(raised))
        yield raised
        raised = raised.__cause__ or (None if raised.__suppress_context__ else raised.__context__)


def _sentence(raised: BaseException) -> str:
    if isinstance(raised, PoolTimeout | TooManyRequests):
        return DATABASE if watch.away() else CROWDED
    if isinstance(raised, psycopg.Error) and raised.sqlstate:
        state = raised.sqlstate
        if state in OTHER_TABLES:
            return UPDATING if tables_differ() else ""
        return next((words for begins, words in STATES if state.startswith(begins)), "")
    if isinstance(raised, psycopg.OperationalError | psycopg.InterfaceError | InterfaceError):
        return DATABASE  # without a state nothing was answered: refused, cut, or closed
    return BROKER if isinstance(raised, RedisError | QueueError) else ""
