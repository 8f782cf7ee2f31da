"""Whether the database answers: no query waits longer than it takes to find out that it does not.

A server that was stopped, or whose machine hangs, closes nothing: whoever asked it waits for ever.
So while something takes long, a connection of its own is tried from beside. If that does not come
about, whatever waits ends at once, and pages say so (web.outages).
"""

import threading
import time
from collections.abc import Generator
from typing import Any, TypeVar

import psycopg
from psycopg.conninfo import make_conninfo

T = TypeVar("T")

PATIENCE = 0.5  # seconds a query may take before the server is asked whether it is there at all
KNOWN_FOR = 1.0  # seconds for which the answer to that is believed
CONNECT = 2  # seconds until a connection must stand; libpq takes no fewer
LATER = 2.0  # seconds past the server's own limit for a query, for its refusal to arrive
# What a server says that is there, but not for anybody yet or any more.
NOT_FOR_US = ("starting up", "shutting down", "recovery", "not accepting")


class NoAnswerError(psycopg.OperationalError):
    """The database was asked, and nothing came back."""


class _Watch:
    """What this process knows of its database server; one thread asks, the others go by that."""

    def __init__(self) -> None:
        self._asking = threading.Lock()
        self._known_at = float("-inf")
        self._answers = True
        self._address = ""

    def away(self) -> bool:
        """Whether it did not answer when it was last asked. Once that is old it is asked again."""
        return not self._answers and not self.answers(self._address)

    def answers(self, address: str) -> bool:
        """Whether the server at that address lets somebody in, tried within the last second."""
        if not self._asking.acquire(blocking=self._answers):
            return False  # somebody is trying already, and it was away before
        try:
            if time.monotonic() - self._known_at > KNOWN_FOR:
                self._answers, self._address = _lets_in(address), address
                self._known_at = time.monotonic()
            return self._answers
        finally:
            self._asking.release()


watch = _Watch()


def _lets_in(address: str) -> bool:
    """A refusal is an answer too, as of one who has too many connections."""
    try:
        psycopg.connect(address, connect_timeout=CONNECT).close()
    except psycopg.Error as error:
        told = str(error)
        return "FATAL" in told and not any(words in told for words in NOT_FOR_US)
    return True


class WatchedConnection(psycopg.Connection[Any]):
    """One that gives up when the server does not answer, and is closed then."""

    longest = float("inf")  # seconds for any query, whatever the server says

    def wait(
        self, gen: Generator[Any, Any, T], interval: float = 0.1, timeout: float | None = None
    ) -> T:
        """As the library's. Raises NoAnswerError."""
        try:
            return super().wait(self._watched(gen), interval=interval, timeout=timeout)
        except NoAnswerError:
            self.pgconn.finish()  # what it might still say answers no question of ours
            raise

    def _watched(self, gen: Generator[Any, Any, T]) -> Generator[Any, Any, T]:
        began = looked = time.monotonic()
        try:
            wanted = next(gen)
            while True:
                ready = yield wanted
                if not ready and (now := time.monotonic()) - looked > PATIENCE:
                    if now - began > self.longest or not watch.answers(self._address()):
                        raise NoAnswerError("the database does not answer")
                    looked = time.monotonic()
                wanted = gen.send(ready)
        except StopIteration as done:
            value: T = done.value
            return value

    def _address(self) -> str:
        return make_conninfo(self.info.dsn, password=self.info.password or None)


def watched(longest: float) -> type[WatchedConnection]:
    """Such connections, for queries that the server itself ends after `longest` seconds."""
    return type("Watched", (WatchedConnection,), {"longest": longest + LATER})
