"""A history that was one table becomes the first partition, as it is."""

import os
import secrets
import subprocess
import sys
from collections.abc import Iterator
from typing import Any, LiteralString
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
from psycopg import sql

from config.settings.base import BASE_DIR
from tests.audit.past import BEGAN, ENDED, SQL

COUNT = 500
LAYOUT: LiteralString = """
SELECT (SELECT count(*) FROM audit_entry), (SELECT array_agg(name) FROM audit_partitions()),
    (SELECT array_agg(relname ORDER BY relname) FROM pg_index JOIN pg_class ON oid = indexrelid
        WHERE indrelid = 'audit_entry'::regclass),
    (SELECT array_agg(tgname ORDER BY tgname) FROM pg_trigger
        WHERE tgrelid = 'audit_entry'::regclass),
    (SELECT array_agg(conname::text ORDER BY conname) FROM pg_constraint
        WHERE conrelid = 'audit_entry'::regclass AND contype IN ('p', 'c'))
"""


def named(name: str) -> str:
    """The address of another database of the same server."""
    return urlunsplit(urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{name}"))


@pytest.fixture
def address() -> Iterator[str]:
    """A database of its own, without tables."""
    name = f"converting_{secrets.token_hex(4)}"
    with psycopg.connect(named("postgres"), autocommit=True) as server:
        server.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        yield named(name)
        server.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def migrate(address: str, *target: str) -> None:
    env = {**os.environ, "DATABASE_URL": address, "PORTALEDGER_MODE": "test"}
    command = [sys.executable, "manage.py", "migrate", "--noinput", "audit", *target]
    done = subprocess.run(command, cwd=BASE_DIR, env=env, capture_output=True, text=True,
                          check=False)  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_old_entries_are_the_first_partition(address: str) -> None:
    migrate(address, "0002")
    with psycopg.connect(address, autocommit=True) as server:
        server.execute("SET session_replication_role = replica")
        told: dict[str, Any] = {"count": COUNT, "began": BEGAN, "ended": ENDED}
        server.execute(SQL.encode(), told)
        before = server.execute("SELECT e::text FROM audit_entry e ORDER BY id").fetchall()
        triggers = server.execute(
            "SELECT array_agg(tgname ORDER BY tgname) FROM pg_trigger"
            " WHERE tgrelid = 'audit_entry'::regclass"
        ).fetchone()
    migrate(address)
    with psycopg.connect(address, autocommit=True) as server:
        assert server.execute("SELECT e::text FROM audit_entry e ORDER BY id").fetchall() == before
        count, parts, indexes, now, constraints = server.execute(LAYOUT).fetchone() or ()
        assert (count, parts) == (COUNT, ["audit_entry_2015_01"])
        assert indexes == [
            "audit_entry_pkey", "entry_action", "entry_actor", "entry_at", "entry_device",
            "entry_parameter", "entry_refused",
            "entry_site", "entry_subject", "entry_txid",
        ]  # fmt: skip
        assert [now] == list(triggers or ())
        assert constraints == ["audit_entry_pkey", "entry_channel_known", "entry_operation_known"]
        # Ids go on where they were, and the month that has come gets a partition of its own.
        rolled = server.execute("SELECT audit_roll()").fetchone()
        written = server.execute(
            "INSERT INTO audit_entry (operation, changes) VALUES ('refused', '{}')"
            " RETURNING id, tableoid::regclass::text"
        ).fetchone()
    assert written is not None
    assert written[0] > COUNT
    assert (written[1],) == rolled
