"""What the first migrations make of an empty database, as SQL, to be run in their place.

Running them one by one takes half a minute of a processor, nearly all of it Django making its
models anew after each operation; the statements themselves take two seconds. The snapshot is
PostgreSQL's own dump of a database that they made. Migrations that are younger than it run after
it, as ever. `make schema` makes it; tests/config/test_schema.py compares what comes of both ways.
"""

import lzma
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from django.db import transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.recorder import MigrationRecorder

FILE = Path(__file__).parent / "schema.sql.xz"

Key = tuple[str, str]  # app and name of a migration

# The history's one partition is called by the month in which its table was made.
_PARTITION = re.compile(r"\baudit_entry_\d{4}_\d{2}(?=\b|_)")
_MONTH = "SELECT 'audit_entry_' || to_char(clock_timestamp() AT TIME ZONE 'UTC', 'YYYY_MM')"

# Rights on it that the database gives by default are taken away, as where migrations made it.
_GUARD = "DROP TRIGGER entry_whole ON {0}; SELECT audit_guard_partition('{0}')"


@dataclass(frozen=True)
class Snapshot:
    """Statements for servers of one major version, and the migrations that they stand for."""

    major: int
    migrations: Sequence[Key]
    statements: str

    def write(self, path: Path = FILE) -> None:
        """Keep it."""
        told = [
            f"-- server {self.major}",
            *(f"-- migrated {'.'.join(key)}" for key in self.migrations),
        ]
        text = "\n".join([*told, self.statements])
        path.write_bytes(lzma.compress(text.encode(), preset=9 | lzma.PRESET_EXTREME))

    @classmethod
    def read(cls, path: Path = FILE) -> "Snapshot":
        """The one that is kept."""
        text = lzma.decompress(path.read_bytes()).decode()
        keys = re.findall(r"^-- migrated (\w+)\.(\w+)$", text, re.M)
        (major,) = re.findall(r"^-- server (\d+)$", text, re.M)
        return cls(int(major), keys, text)


def is_empty(connection: BaseDatabaseWrapper) -> bool:
    """Whether the database has no table at all."""
    with connection.cursor() as cursor:
        return not connection.introspection.table_names(cursor)


def major_of(connection: BaseDatabaseWrapper) -> int:
    """The major version of its server."""
    with connection.cursor() as cursor:
        cursor.execute("SHOW server_version_num")
        return int(cursor.fetchone()[0]) // 10000


def load(snapshot: Snapshot, connection: BaseDatabaseWrapper) -> None:
    """Make its tables in an empty database and record its migrations; all of it or nothing."""
    with transaction.atomic(using=connection.alias):
        with connection.cursor() as cursor:
            cursor.execute(_MONTH)
            partition: str = cursor.fetchone()[0]
            cursor.execute(_PARTITION.sub(partition, snapshot.statements))
            cursor.execute(_GUARD.format(partition))
        recorder = MigrationRecorder(connection)
        for app, name in snapshot.migrations:
            recorder.record_applied(app, name)
