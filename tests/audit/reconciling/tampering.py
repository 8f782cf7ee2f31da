"""What a superuser can do to any governed table, whatever its rules: made-up rows, and changes."""

from dataclasses import dataclass

from django.db import connection

from audit.capture.governed import quoted
from audit.reconciling.tables import GovernedTable
from tests.audit.sample import run

# By type as the database prints it: a value, and another one.
VALUES = {
    "bigint": ("71", "72"), "integer": ("71", "72"), "smallint": ("71", "72"),
    "numeric": ("1", "2"), "double precision": ("1.5", "2.5"), "boolean": ("true", "false"),
    "timestamp with time zone": ("'2026-01-02 03:04:05Z'", "'2026-01-02 03:04:06Z'"),
    "time without time zone": ("'03:04'", "'03:05'"), "oid": ("71", "72"),
    "date": ("'2026-01-02'", "'2026-01-03'"), "jsonb": ("'{\"a\": 1}'", "'{\"a\": 2}'"),
    "bytea": (r"'\x01'", r"'\x02'"), "inet": ("'192.0.2.1'", "'192.0.2.2'"),
    "uuid": ("'00000000-0000-4000-8000-000000000001'", "'00000000-0000-4000-8000-000000000002'"),
    "interval": ("'1 hour'", "'2 hours'"), "text[]": ("'{a}'", "'{b}'"),
    "character varying[]": ("'{a}'", "'{b}'"),
}  # fmt: skip
TEXT = ("'a'", "'b'")

COLUMNS = """
SELECT attname, format_type(atttypid, NULL) FROM pg_attribute
WHERE attrelid = %s::regclass AND attnum > 0 AND NOT attisdropped AND attgenerated = ''
"""
RULES = """
SELECT conname FROM pg_constraint WHERE conrelid = %s::regclass AND contype IN ('c', 'x')
"""
TRIGGERS = """
SELECT tgname FROM pg_trigger WHERE tgrelid = %s::regclass AND tgname LIKE 'pgtrigger_history%%'
"""


@dataclass(frozen=True)
class Tamperer:
    """At one table: with its rules gone and none of its triggers on but those that record."""

    table: GovernedTable

    @property
    def types(self) -> dict[str, str]:
        """Each column with its type."""
        return {str(name): str(kind) for name, kind in rows(COLUMNS, self.table.name)}

    def make_row(self, *, seen: bool) -> int:
        """A row with a value in every column; with its entry if it is to be seen."""
        self._lawless(seen=seen)
        values = {name: VALUES.get(kind, TEXT)[0] for name, kind in self.types.items()}
        key = self.table.key.strip('"')
        values[key] = "70" if seen else "75"
        names = ", ".join(quoted(name) for name in values)
        run(
            f"INSERT INTO {self.table.name} ({names}) OVERRIDING SYSTEM VALUE"
            f" VALUES ({', '.join(values.values())})"
        )
        return int(values[key])

    def alter(self, row: int, column: str) -> None:
        """Another value in one column, unseen."""
        self._lawless(seen=False)
        other = VALUES.get(self.types[column], TEXT)[1]
        run(
            f"UPDATE {self.table.name} SET {quoted(column)} = {other}"
            f" WHERE {self.table.key} = {row}"
        )

    def clear(self, row: int, column: str) -> None:
        """No value in one column any more, unseen."""
        self._lawless(seen=False)
        run(f"ALTER TABLE {self.table.name} ALTER {quoted(column)} DROP NOT NULL")
        run(f"UPDATE {self.table.name} SET {quoted(column)} = NULL WHERE {self.table.key} = {row}")

    def empty(self) -> None:
        """Every row gone, unseen."""
        self._lawless(seen=False)
        run(f"DELETE FROM {self.table.name}")

    def _lawless(self, *, seen: bool) -> None:
        name = self.table.name
        for (rule,) in rows(RULES, name):
            run(f"ALTER TABLE {name} DROP CONSTRAINT {quoted(str(rule))}")
        run(f"ALTER TABLE {name} DISABLE TRIGGER ALL")
        for (trigger,) in rows(TRIGGERS, name) if seen else ():
            run(f"ALTER TABLE {name} ENABLE TRIGGER {trigger}")


def rows(sql: str, *values: str) -> list[tuple[object, ...]]:
    """What a statement answers."""
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return list(cursor.fetchall())
