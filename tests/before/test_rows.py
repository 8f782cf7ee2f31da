"""No row of the old database is lost, whatever its tables are called today."""

import psycopg
from django.db import connection

from tests.before.conftest import People, named
from tests.before.old_database import Dump

# Tables with another name today.
RENAMED = {"stations_abilityset": "stations_machinetype"}

# Columns with another name today: what was stored a row a hash stands as it stood.
COLUMNS = {"audit_leaf": ("hash", "hashes"), "audit_node": ("hash", "hashes")}

# Tables that hold another number of rows today, and why.
OTHER_COUNT: dict[str, tuple[int, str]] = {}

# Django fills these after every migration; nothing of ours is in them.
DJANGOS = {"django_content_type", "auth_permission"}

# A migration may write to the history, and seals nothing.
GROWS = {"audit_entry"}


def count(table: str) -> int:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {table}")
        return int(cursor.fetchone()[0])


def test_every_row_is_there(before: People, dump: Dump) -> None:
    expected = {
        table.name: OTHER_COUNT.get(table.name, (len(table.lines), ""))[0]
        for table in dump.tables
        if table.name not in DJANGOS | GROWS
    }
    assert {name: count(RENAMED.get(name, name)) for name in expected} == expected
    assert sum(expected.values()) > 2000


def test_the_history_is_the_same_to_the_last_character(before: People, dump: Dump) -> None:
    for name in ("audit_entry", "audit_leaf", "audit_node", "audit_checkpoint", "audit_ledgerkey"):
        (old,) = (table for table in dump.tables if table.name == name)
        with psycopg.connect(named(str(connection.settings_dict["NAME"]))) as server:
            columns = old.columns.replace(*COLUMNS.get(name, ("", "")))
            command = f"COPY (SELECT {columns} FROM {name} ORDER BY 1, 2) TO STDOUT"
            with server.cursor().copy(command.encode()) as copy:
                now = b"".join(copy).decode().splitlines(keepends=True)
        assert set(old.lines) <= set(now)
        assert len(now) == len(old.lines) or name in GROWS


def test_new_rows_are_numbered_on(before: People, dump: Dump) -> None:
    """No sequence lies behind the rows there are."""
    for table in dump.tables:
        if not table.columns.startswith("id,"):
            continue
        name = RENAMED.get(table.name, table.name)
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_get_serial_sequence(%s, 'id')", [name])
            (sequence,) = cursor.fetchone()
            if sequence is None:
                continue
            cursor.execute(f"SELECT nextval(%s) > coalesce(max(id), 0) FROM {name}", [sequence])
            assert cursor.fetchone() == (True,), name
