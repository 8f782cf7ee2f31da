"""Making the old database, as its own migrations and its own rows have it."""

import lzma
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import psycopg
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from psycopg import sql

HERE = Path(__file__).parent


@dataclass
class Table:
    """The rows of one table in PostgreSQL's text format, and the columns they have."""

    name: str
    columns: str
    lines: list[str] = field(default_factory=list)


@dataclass
class Dump:
    """A dump of rows: its tables in an order that foreign keys allow, and where sequences are."""

    tables: list[Table]
    sequences: list[str]


def read_dump() -> Dump:
    """The committed dump."""
    dump = Dump([], [])
    with lzma.open(HERE / "before.sql.xz", "rt", encoding="utf-8") as lines:
        for line in lines:
            if line.startswith("COPY public."):
                name, _, rest = line.removeprefix("COPY public.").partition(" ")
                columns = rest.partition("(")[2].partition(")")[0]
                dump.tables.append(Table(name, columns, list(_until_the_end(lines))))
            elif line.startswith("SELECT pg_catalog.setval("):
                dump.sequences.append(line)
    return dump


def _until_the_end(lines: Iterable[str]) -> Iterator[str]:
    for line in lines:
        if line == "\\.\n":
            return
        yield line


def migrate_as_it_was() -> None:
    """Exactly the migrations the old database had, on the empty database we are connected to."""
    text = (HERE / "migrations.txt").read_text(encoding="utf-8")
    applied = [(app, name) for app, name in (line.split("|") for line in text.split())]
    MigrationExecutor(connection).migrate(applied)


def load(dump: Dump, address: str) -> None:
    """The rows as they were, past every trigger and check of foreign keys; as superuser."""
    with psycopg.connect(address) as server, server.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        names = [sql.Identifier(table.name) for table in dump.tables]
        cursor.execute(sql.SQL("TRUNCATE {}").format(sql.SQL(", ").join(names)))
        for table in dump.tables:
            command = f"COPY {table.name} ({table.columns}) FROM STDIN"
            with cursor.copy(command.encode()) as copy:
                copy.write("".join(table.lines))
        for statement in dump.sequences:
            cursor.execute(statement.encode())
