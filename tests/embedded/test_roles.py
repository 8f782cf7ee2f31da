"""The default run really connects as the program's role, and that role can't touch history.

Asked of the running processes and of the database, not of the settings: the address in each
process's own environment, and the sessions the server sees.
"""

import time
from collections.abc import Iterator

import psutil
import psycopg
import pytest

from embedded import commands
from embedded.cluster import SUPERUSER
from embedded.folder import Folder
from embedded.host import free_port
from embedded.postgres import OWNER, PROGRAM
from embedded.stack import Stack, run_application, servers

PROGRAMS = ("web-", "worker-", "beat")
HISTORY = {
    "audit_entry": "actor", "audit_leaf": "hashes", "audit_node": "hashes",
    "audit_checkpoint": "note",
}  # fmt: skip


@pytest.fixture
def stack(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> Iterator[Stack]:
    """The stack of `make demo`, all but its scenario: tables made, rights given, all running."""
    with servers(folder, mode="demo", careless=True) as made:
        plain = Stack.manage

        def but_the_scenario(self: Stack, *arguments: str, **how: bool) -> None:
            if arguments[0] != "load_demo":
                plain(self, *arguments, **how)

        monkeypatch.setattr(Stack, "manage", but_the_scenario)
        commands.load(made, shown=False)
        run_application(made, ports=[free_port()], workers=1)
        yield made


def processes(stack: Stack) -> list[psutil.Process]:
    """Web, both kinds of workers and beat, with all they started."""
    ours = [child for child in stack.children if child.program.name.startswith(PROGRAMS)]
    assert len(ours) == 4
    tops = [psutil.Process(child.pid) for child in ours]
    return tops + [each for top in tops for each in top.children(recursive=True)]


def sessions(address: str) -> set[str]:
    """Who is signed in to the program's database, beside the one who asks."""
    with psycopg.connect(address.replace(PROGRAM, SUPERUSER, 1)) as superuser:
        rows = superuser.execute(
            "SELECT DISTINCT usename FROM pg_stat_activity WHERE datname = current_database()"
            " AND backend_type = 'client backend' AND pid <> pg_backend_pid()"
        )
        return {name for (name,) in rows}


def sessions_seen(address: str, seconds: float = 20) -> set[str]:
    """Everybody who was signed in within that time: web on its pool, workers at their tasks."""
    seen: set[str] = set()
    until = time.monotonic() + seconds
    while time.monotonic() < until and PROGRAM not in seen:
        seen |= sessions(address)
        time.sleep(0.1)
    return seen | sessions(address)


def test_web_and_workers_connect_as_the_program(stack: Stack) -> None:
    address = stack.env["DATABASE_URL"]
    for process in processes(stack):
        held = process.environ()
        assert held["DATABASE_URL"] == address, process.cmdline()
        assert "OWNER_DATABASE_URL" not in held, process.cmdline()
        assert OWNER not in " ".join(held.values())
    assert sessions_seen(address) == {PROGRAM}
    with psycopg.connect(address, autocommit=True) as program:
        who = program.execute("SELECT current_user, session_user, rolsuper FROM pg_roles"
                              " WHERE rolname = session_user").fetchone()  # fmt: skip
        assert who == (PROGRAM, PROGRAM, False)
        kept_from(program)


def kept_from(program: psycopg.Connection[tuple[object, ...]]) -> None:
    """Whatever the signed-in role tries on the history, the database says no."""
    statements = [
        "SET session_replication_role = replica",
        "SET ROLE portaledger_owner",
        f"SET SESSION AUTHORIZATION {SUPERUSER}",
    ]
    for table, column in HISTORY.items():
        statements += [
            f"UPDATE {table} SET {column} = {column}",
            f"DELETE FROM {table}",
            f"TRUNCATE {table}",
            f"ALTER TABLE {table} DISABLE TRIGGER ALL",
            f"DROP TABLE {table}",
        ]
    for statement in statements:
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            program.execute(statement)
