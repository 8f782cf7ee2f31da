"""A history of our own to seal, its key in a folder of the test."""

from pathlib import Path

import pytest
from pytest_django import Settings

from audit.sealing.models import Checkpoint, Leaf
from tests.audit.sample import Shelf, run

ALL = "audit_entry, audit_leaf, audit_node, audit_checkpoint, audit_ledgerkey"


@pytest.fixture(autouse=True)
def key_file(settings: Settings, tmp_path: Path) -> Path:
    """Where the signing key goes."""
    settings.LEDGER_KEY_FILE = str(tmp_path / "keys" / "ledger_key")
    return Path(settings.LEDGER_KEY_FILE)


@pytest.fixture
def only_ours(sample_tables: None, db: None) -> None:
    """An empty history, whatever the migrations wrote; rolled back with the test."""
    unguarded(f"TRUNCATE {ALL}")


def unguarded(sql: str, *values: str | int | None) -> None:
    """As a superuser may, the triggers told to stand aside."""
    run("SET session_replication_role = replica")
    run(sql, *values)
    run("SET session_replication_role = origin")


def shelves(count: int) -> None:
    """So many entries, in one statement."""
    run("INSERT INTO sample_shelf (name, site_id) SELECT 'S' || i, 3"
        " FROM generate_series(1, %s) i", count)  # fmt: skip


def sealed_ids() -> list[int]:
    """Entries in the order of sealing."""
    return list(Leaf.objects.order_by("index").values_list("entry_id", flat=True))


def last_checkpoint() -> Checkpoint:
    return Checkpoint.objects.latest("id")


__all__ = ["Shelf"]
