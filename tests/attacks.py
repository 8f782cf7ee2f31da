"""Trying to do what the database must not allow."""

from collections.abc import Callable

import pytest
from django.db import Error, connection, transaction


def refused(attempt: Callable[[], object], match: str) -> None:
    """The attempt must fail in the database itself, and leave the transaction usable."""
    with pytest.raises(Error, match=match), transaction.atomic():
        attempt()


def sql(statement: str, *params: int | str | None) -> Callable[[], object]:
    """One raw statement."""

    def run() -> None:
        with connection.cursor() as cursor:
            cursor.execute(statement, params)

    return run
