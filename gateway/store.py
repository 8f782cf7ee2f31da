"""Everything that has to survive a power cut, in one SQLite file.

Write-ahead log with a full sync at every commit: what was committed is there after a kill at any
moment. Each thread opens its own Store; whatever belongs together is one ``writing()``.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

WAIT = 30.0  # seconds for the other thread's commit

SCHEMA = """
CREATE TABLE IF NOT EXISTS note (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS event (
    sequence INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, type TEXT NOT NULL,
    time TEXT NOT NULL, data TEXT NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS set_aside (
    sequence INTEGER PRIMARY KEY, event TEXT NOT NULL, why TEXT NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS mark (
    machine TEXT NOT NULL, station INTEGER NOT NULL, mark TEXT NOT NULL,
    PRIMARY KEY (machine, station)
) STRICT;
CREATE TABLE IF NOT EXISTS wanted (
    slot INTEGER PRIMARY KEY, machine TEXT NOT NULL, station INTEGER NOT NULL,
    number INTEGER NOT NULL, body TEXT NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS pinned (placement INTEGER PRIMARY KEY, digest TEXT NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS held (
    slot INTEGER PRIMARY KEY, loaded TEXT NOT NULL DEFAULT '', found TEXT NOT NULL DEFAULT '',
    told REAL NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE IF NOT EXISTS restored (slot INTEGER PRIMARY KEY, text TEXT NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS fault (name TEXT PRIMARY KEY, words TEXT NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS answering (
    machine TEXT NOT NULL, station INTEGER NOT NULL, answers INTEGER NOT NULL,
    PRIMARY KEY (machine, station)
) STRICT;
"""


class Store:
    """A connection to the file; made with its tables if it is not there."""

    def __init__(self, path: Path) -> None:
        self.connection = sqlite3.connect(path, timeout=WAIT, isolation_level=None)
        self.connection.row_factory = sqlite3.Row
        self.connection.execute("PRAGMA journal_mode = WAL")
        self.connection.execute("PRAGMA synchronous = FULL")
        self.connection.executescript(SCHEMA)

    def close(self) -> None:
        """Close the connection."""
        self.connection.close()

    @contextmanager
    def writing(self) -> Iterator[None]:
        """All of it or nothing of it; inside another one, part of that."""
        if self.connection.in_transaction:
            yield
            return
        self.connection.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self.connection.execute("ROLLBACK")
            raise
        self.connection.execute("COMMIT")

    def rows(self, sql: str, *values: object) -> list[sqlite3.Row]:
        """What a query finds."""
        return self.connection.execute(sql, values).fetchall()

    def run(self, sql: str, *values: object) -> int:
        """Change something; the number of rows changed."""
        return self.connection.execute(sql, values).rowcount

    def note(self, name: str, default: str = "") -> str:
        """A value kept under a name."""
        found = self.rows("SELECT value FROM note WHERE name = ?", name)
        return str(found[0]["value"]) if found else default

    def keep(self, name: str, value: str) -> None:
        """Keep a value under a name, in place of what was there."""
        self.run("INSERT OR REPLACE INTO note (name, value) VALUES (?, ?)", name, value)
