"""Sealing the history and checking it, beside bare SHA-256 over the same bytes, by processor time.

Lines that begin with "of it" say where sealing's time goes: each layer alone, on the same entries.
"""

import hashlib
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings
from django.db import connection

from audit.exporting.bundle import CHUNK, bundle
from audit.ledger.bundle.check import verify
from audit.ledger.bundle.report import Report
from audit.ledger.merkle import Frontier, leaf_hashes
from audit.sealing.payload import COLUMNS, made_in_a_row
from audit.sealing.seal import seal
from audit.sealing.store import size
from tests.benchmarks.chain import Chain
from tests.benchmarks.history import fill
from tests.benchmarks.table import Measurement, processor_seconds

TABLES = "audit_leaf, audit_node, audit_checkpoint, audit_ledgerkey"


@contextmanager
def _key() -> Iterator[Path]:
    """A signing key for this run, in a folder of its own."""
    kept = settings.LEDGER_KEY_FILE
    with tempfile.TemporaryDirectory() as folder:
        settings.LEDGER_KEY_FILE = str(Path(folder) / "ledger_key")
        yield Path(folder)
    settings.LEDGER_KEY_FILE = kept


def _seal_all() -> None:
    while seal(seconds=3600):
        pass


def _anew(entries: int, sites: int) -> None:
    """A history of so many entries and nothing sealed."""
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        cursor.execute(f"TRUNCATE audit_entry, {TABLES}")
        cursor.execute("SET session_replication_role = origin")
    fill(entries, sites)


def _export(file: Path) -> None:
    with file.open("wb") as out:
        out.writelines(bundle())


def _check(file: Path) -> Report:
    with file.open("rb") as lines:
        return verify(lines)


def _hash(entries: Sequence[bytes]) -> None:
    for one in entries:
        hashlib.sha256(one).digest()


def _store() -> None:
    """The least that sealing writes: the same hashes, server-side, into tables like theirs."""
    with connection.cursor() as cursor:
        for table in ("audit_leaf", "audit_node"):
            cursor.execute(f"CREATE TABLE bare_{table} (LIKE {table} INCLUDING ALL)")
            cursor.execute(f"INSERT INTO bare_{table} SELECT * FROM {table}")
            cursor.execute(f"DROP TABLE bare_{table}")


def _read() -> None:
    """The least that sealing and exporting read: every column of every entry."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {COLUMNS} FROM audit_entry e")
        while cursor.fetchmany(5_000):
            pass


def _copied() -> None:
    """Every column as the database has it, sent in its own form and thrown away."""
    whole = "COPY (TABLE audit_entry) TO STDOUT (FORMAT binary)"
    with connection.cursor() as cursor, cursor.copy(whole) as copy:
        for _ in copy:
            pass


def _made() -> None:
    """The canonical bytes of every entry."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT min(id), max(id) FROM audit_entry")
        first, last = cursor.fetchone()
    for start in range(first, last + 1, CHUNK):
        made_in_a_row(start, min(start + CHUNK - 1, last))


def _tree(entries: Sequence[bytes]) -> None:
    """The hashes of leaves and nodes."""
    Frontier().extend(leaf_hashes(entries))


def rows(chain: Chain, entries: int) -> list[Measurement]:
    """Sealing, exporting and checking a history of so many entries; what was there is removed."""
    _anew(entries, chain.sites)
    with _key() as folder:
        times = {"sealing": processor_seconds(_seal_all)}
        file, count = folder / "bundle", size()
        times["exporting as a bundle"] = processor_seconds(lambda: _export(file))
        times["checking a bundle"] = min(processor_seconds(lambda: _check(file)) for _ in range(3))
        assert _check(file).intact
        with file.open("rb") as lines:
            sealed = [line[:-1] for line in lines if line[:1] == b"{"]
    bare = min(processor_seconds(lambda: _hash(sealed)) for _ in range(3))
    read, store = processor_seconds(_read), processor_seconds(_store)
    peers: dict[str, dict[str, float]] = {
        "sealing": {"bare reading and storing": times["sealing"] / (read + store)},
        "exporting as a bundle": {"bare reading": times["exporting as a bundle"] / read},
    }
    times |= {
        "of it: columns copied out as they are": processor_seconds(_copied),
        "of it: canonical bytes made": processor_seconds(_made),
        "of it: leaves and nodes hashed": processor_seconds(lambda: _tree(sealed)),
        "of it: leaves and nodes stored": store,
    }
    return [
        Measurement(
            f"{name}, {count:,} entries",
            count / taken,
            "entries/s",
            taken / bare,
            peers.get(name, {}),
        )
        for name, taken in times.items()
    ]
