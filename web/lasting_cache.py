"""Django's default cache, in the database: tries that are counted, answers that work once.

What guards against guessing must hold whatever else is away, and it must not be undone with the
action that was refused. So it is written apart, on a connection of its own wherever somebody's
transaction is open. If even that can't be had, nothing is allowed: the error goes through.
"""

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from django.core.cache.backends.base import DEFAULT_TIMEOUT, BaseCache
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper

ENDED = "web_cacheentry.expires_at <= clock_timestamp()"
GET = "SELECT value FROM web_cacheentry WHERE key = %s AND expires_at > clock_timestamp()"
SET = """
INSERT INTO web_cacheentry (key, value, expires_at)
VALUES (%s, %s::jsonb, clock_timestamp() + make_interval(secs => %s))
ON CONFLICT (key) DO UPDATE SET value = excluded.value, expires_at = excluded.expires_at
"""
ADD = f"{SET} WHERE {ENDED} RETURNING true"
TOUCH = """
UPDATE web_cacheentry SET expires_at = clock_timestamp() + make_interval(secs => %s)
WHERE key = %s AND expires_at > clock_timestamp() RETURNING true
"""
COUNT = """
UPDATE web_cacheentry SET value = to_jsonb((value #>> '{}')::bigint + %s)
WHERE key = %s AND expires_at > clock_timestamp() RETURNING value
"""
DELETE = "DELETE FROM web_cacheentry WHERE key = %s RETURNING expires_at > clock_timestamp()"
FORGET = "DELETE FROM web_cacheentry WHERE expires_at <= clock_timestamp() RETURNING true"

LONGEST = 400 * 24 * 3600.0  # seconds: what is kept without an end


@contextmanager
def lasting() -> Iterator[BaseDatabaseWrapper]:
    """A connection on which what is written stands, whatever becomes of the open transaction."""
    here = connections[DEFAULT_DB_ALIAS]
    if not here.in_atomic_block and here.get_autocommit():
        yield here
        return
    aside = here.copy()
    try:
        yield aside
    finally:
        aside.close()


class LastingCache(BaseCache):
    """As Django's own in a database, but counting in one statement, of JSON, and lasting."""

    def __init__(self, location: str, params: dict[str, Any]) -> None:
        super().__init__(params)

    def get(self, key: str, default: Any = None, version: int | None = None) -> Any:  # noqa: ANN401
        """The value, or the default."""
        value = self._ask(GET, [self._key(key, version)])
        return default if value is None else json.loads(value)

    def set(
        self,
        key: str,
        value: Any,  # noqa: ANN401
        timeout: float | None = DEFAULT_TIMEOUT,
        version: int | None = None,
    ) -> None:
        """Keep it for so many seconds."""
        self._ask(SET, [self._key(key, version), json.dumps(value), self._seconds(timeout)])

    def add(
        self,
        key: str,
        value: Any,  # noqa: ANN401
        timeout: float | None = DEFAULT_TIMEOUT,
        version: int | None = None,
    ) -> bool:
        """Keep it if nothing is kept under that key; whether it was."""
        wanted = self._key(key, version), json.dumps(value), self._seconds(timeout)
        return bool(self._ask(ADD, wanted))

    def touch(
        self, key: str, timeout: float | None = DEFAULT_TIMEOUT, version: int | None = None
    ) -> bool:
        """Keep it for so many seconds from now; whether it is there."""
        return bool(self._ask(TOUCH, [self._seconds(timeout), self._key(key, version)]))

    def incr(self, key: str, delta: int = 1, version: int | None = None) -> int:
        """Count it up; its end stays. Raises ValueError for what is not there."""
        count = self._ask(COUNT, [delta, self._key(key, version)])
        if count is None:
            raise ValueError(f"Key '{key}' not found")
        return int(count)

    def delete(self, key: str, version: int | None = None) -> bool:
        """Whether it was there."""
        return bool(self._ask(DELETE, [self._key(key, version)]))

    def _key(self, key: str, version: int | None) -> str:
        return str(self.make_and_validate_key(key, version))

    def _seconds(self, timeout: Any) -> float:  # noqa: ANN401 - Django's own mark stands for "usual"
        given = self.default_timeout if timeout is DEFAULT_TIMEOUT else timeout
        return LONGEST if given is None else min(float(given), LONGEST)

    def _ask(self, query: str, values: Sequence[str | float]) -> Any:  # noqa: ANN401
        """The first value that comes back, if any."""
        with lasting() as on, on.cursor() as cursor:
            cursor.execute(query, values)
            row = cursor.fetchone() if cursor.description else None
        return row[0] if row else None


def forget_ended() -> int:
    """Delete what is past its end; how many. Repeating is fine."""
    with lasting() as on, on.cursor() as cursor:
        cursor.execute(FORGET)
        return len(cursor.fetchall())
