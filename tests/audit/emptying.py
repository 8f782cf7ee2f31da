"""Emptying the database after a test that commits.

Django does it with TRUNCATE, which governed tables and the history refuse. Only here, and only
as superuser, the triggers are told to stand aside for that one statement.
"""

from collections.abc import Iterator, Sequence

import pytest
from django.db import connections
from django.db.backends.base.operations import BaseDatabaseOperations


@pytest.fixture(scope="session", autouse=True)
def emptying() -> Iterator[None]:
    """Wrap Django's flush for the whole run."""
    patch = pytest.MonkeyPatch()
    plain = BaseDatabaseOperations.execute_sql_flush

    def flush(self: BaseDatabaseOperations, sql_list: Sequence[str]) -> None:
        aside = "SET LOCAL session_replication_role = replica"
        plain(self, [aside, *sql_list])

    patch.setattr(type(connections["default"].ops), "execute_sql_flush", flush)
    yield
    patch.undo()
