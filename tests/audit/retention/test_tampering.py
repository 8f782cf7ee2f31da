"""Tampering with what is left of a history whose months were archived, as a superuser can."""

import random
from pathlib import Path

import pytest
from django.db import DatabaseError, transaction

from audit.capture.models import Entry
from audit.ledger.checkpoint import read_receipt
from audit.ledger.merkle import leaf_hash
from audit.sealing.proofs import inclusion
from tests.audit.exporting.test_tampering import WAYS as TAMPERING
from tests.audit.exporting.test_tampering import insert as plain_insert
from tests.audit.exporting.test_tampering import swap as plain_swap
from tests.audit.retention.test_archive import archive, folder, kept
from tests.audit.retention.test_forging import check
from tests.audit.sample import run
from tests.audit.sealed import entry_at, last_checkpoint, unguarded
from tests.services import rounds

__all__ = ["folder", "kept"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]
Chance = random.Random


def insert_here(chance: Chance) -> None:
    """A copy, in the open month: where an id belongs to an archived one there is no place."""
    columns = ", ".join(str(f.column) for f in Entry._meta.concrete_fields if f.column != "id")
    copy = (
        f"INSERT INTO audit_entry (id, {columns}) OVERRIDING SYSTEM VALUE"
        f" SELECT %s, {columns} FROM audit_entry ORDER BY random() LIMIT 1"
    )
    with pytest.raises(DatabaseError, match="no partition"), transaction.atomic():
        run(copy, -chance.randrange(1, 1000))
    unguarded(copy, 2**40)
    unguarded("UPDATE audit_entry SET txid = %s WHERE id = %s", chance.choice([5, 2**60]), 2**40)


def exchange(a: int, b: int) -> None:
    """Say of two leaves that each is the other's entry's."""
    unguarded("UPDATE audit_leaf SET entry_id = -entry_id WHERE index IN (%s, %s)", a, b)
    unguarded(
        "UPDATE audit_leaf l SET entry_id = -o.entry_id FROM audit_leaf o"
        " WHERE l.index IN (%s, %s) AND o.index IN (%s, %s) AND o.index <> l.index", a, b, a, b
    )  # fmt: skip


def swap_one_that_is_here(chance: Chance) -> None:
    here = chance.randrange(52, 66)
    exchange(here, chance.choice([at for at in range(66) if at != here]))


def swap_over_two_archives(chance: Chance) -> None:
    exchange(chance.randrange(12), chance.randrange(12, 52))


def alter_the_records_table(chance: Chance) -> None:
    """The table itself, which no check believes."""
    name = chance.choice(["first_id", "last_id"])
    unguarded(f"UPDATE audit_archive SET {name} = {name} + %s WHERE file LIKE '%%01.jsonl'",
              -1 if name == "last_id" else 1)  # fmt: skip


def remove_a_record(chance: Chance) -> None:
    unguarded("DELETE FROM audit_archive WHERE id = (SELECT max(id) FROM audit_archive)")


OURS = [
    insert_here, swap_one_that_is_here, swap_over_two_archives, alter_the_records_table,
    remove_a_record,
]  # fmt: skip


def test_two_exchanged_within_an_archive_change_nothing_but_their_proofs(
    kept: str, folder: Path
) -> None:
    """Which leaf is whose is not sealed: for what is here the entry itself shows it, for what is
    archived the file does. A receipt of the wrong leaf fits no entry."""
    (made, _) = archive(folder)
    entry_id = entry_at(3)
    exchange(3, 7)
    assert check(folder, kept).intact
    lines = (folder / made.file).read_bytes().splitlines()
    (payload,) = [line for line in lines if b'"id":%d,' % entry_id in line]
    proof = inclusion(entry_id)
    assert proof is not None
    assert not read_receipt(proof.receipt).covers(leaf_hash(payload))


def test_tampering_with_what_is_left_and_with_the_ledger_is_found(kept: str, folder: Path) -> None:
    """As without archives, with every archive given and the last checkpoint kept outside."""
    archive(folder)
    outside = last_checkpoint().note
    ways = [way for way in TAMPERING if way not in {plain_insert, plain_swap}] + OURS
    for number in range(rounds(640, 48)):
        tamper = ways[number % len(ways)]
        with transaction.atomic():
            tamper(Chance(number))
            report = check(folder, outside)
            transaction.set_rollback(True)
        assert not report.intact, (number, tamper.__name__)
    assert check(folder, outside).intact
