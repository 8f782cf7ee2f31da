"""Whose hands tamper: the program's role, the tables' owner, a superuser."""

import random
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum

from django.db import connection
from psycopg import sql

from audit.privileges import grant
from tests.audit.sample import Value


class Who(StrEnum):
    """As whom the database is spoken to."""

    PROGRAM = "program"
    OWNER = "owner"
    SUPERUSER = "superuser"


class NothingDoneError(Exception):
    """The tampering found nothing to tamper with: it does not count."""


@dataclass(frozen=True)
class Roles:
    """The two ordinary roles of a run."""

    program: str
    owner: str


TABLES = """
SELECT c.relname FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace
    AND c.relkind IN ('r', 'p')
"""


def rows(statement: str, *values: Value) -> list[tuple[object, ...]]:
    """What a statement answers."""
    with connection.cursor() as cursor:
        cursor.execute(statement, values or None)
        return list(cursor.fetchall())


def say(statement: str, *names: str) -> None:
    """One statement with names in it."""
    with connection.cursor() as cursor:
        cursor.execute(sql.SQL(statement).format(*(sql.Identifier(name) for name in names)))


@contextmanager
def roles() -> Iterator[Roles]:
    """Both, for a run: one owns every table, the other has the program's rights."""
    tag = secrets.token_hex(4)
    made = Roles(f"program_{tag}", f"owner_{tag}")
    for name in (made.program, made.owner):
        say("CREATE ROLE {}", name)
    try:
        _own(made.owner)
        grant(made.program)
        yield made
    finally:
        _own(str(rows("SELECT current_user")[0][0]))
        for name in (made.program, made.owner):
            say("DROP OWNED BY {0}", name)
            say("DROP ROLE {0}", name)


def _own(role: str) -> None:
    for (table,) in rows(TABLES):
        say("ALTER TABLE {} OWNER TO {}", str(table), role)


class Hands:
    """One tamperer: who they are, and the chance that chooses for them."""

    def __init__(self, who: Who, key: str, roles: Roles, chance: random.Random) -> None:
        self.who, self.key, self.roles, self.chance = who, key == "with", roles, chance

    def do(self, table: str, statement: str, *values: Value) -> None:
        """One statement on a table, past its triggers if these hands can. Raises DatabaseError if
        they are refused, NothingDoneError if nothing came of it."""
        with self._past(table), connection.cursor() as cursor:
            cursor.execute(statement, values or None)
            if cursor.rowcount == 0:
                raise NothingDoneError

    def say(self, statement: str) -> None:
        """One statement about tables, triggers or functions."""
        with self._as(), connection.cursor() as cursor:
            cursor.execute(statement)

    def one(self, statement: str, *values: Value) -> object:
        """One value of those that a statement answers (`ORDER BY` it, or chance changes)."""
        found = rows(statement, *values)
        if not found:
            raise NothingDoneError
        return self.chance.choice(found)[0]

    @contextmanager
    def _past(self, table: str) -> Iterator[None]:
        match self.who:
            case Who.SUPERUSER:
                say("SET LOCAL session_replication_role = replica")
                yield
                say("SET LOCAL session_replication_role = origin")
            case Who.OWNER:
                with self._as():
                    say("ALTER TABLE {} DISABLE TRIGGER USER", table)
                    yield
                    say("ALTER TABLE {} ENABLE TRIGGER USER", table)
            case Who.PROGRAM:
                with self._as():
                    yield

    @contextmanager
    def _as(self) -> Iterator[None]:
        if self.who is not Who.SUPERUSER:
            role = self.roles.owner if self.who is Who.OWNER else self.roles.program
            say("SET LOCAL SESSION AUTHORIZATION {}", role)
        yield
        say("SET LOCAL SESSION AUTHORIZATION DEFAULT")
