"""Random tampering with the real tables, as a superuser can: every one is found, given the last
checkpoint kept outside.

What can not be found without one: a history cut at an earlier checkpoint, and one rebuilt from a
point on by somebody who has the signing key. With one it can not be found either that somebody
added false entries at the end, or set the machine's clock before true ones were written: the seal
proves that entries are what they were when sealed, not that they were true.
"""

import random
from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import connection, transaction

from audit.capture.models import Entry
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.ledger.bundle.report import Report
from audit.ledger.checkpoint import Checkpoint as State
from audit.ledger.merkle import Frontier, leaf_hash
from audit.ledger.note import Signer
from audit.sealing import store
from audit.sealing.keys import origin, signer
from audit.sealing.models import Checkpoint
from audit.sealing.payload import payload_by_id
from audit.sealing.seal import seal
from tests.audit.sealed import entry_at, grown, last_checkpoint, sealed_ids, shelves, unguarded
from tests.services import rounds

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]
Chance = random.Random
TEXTS = ("actor", "role", "road", "db_role", "request_id", "action", "operation", "table_name",
         "subject_type", "subject", "unit", "reason")  # fmt: skip


@pytest.fixture
def kept() -> str:
    """A history of some seventy entries in batches, and its last checkpoint kept outside."""
    for batch in (3, 40, 1, 17, 9):
        shelves(batch)
        seal()
    return last_checkpoint().note


def check(*since: str) -> Report:
    return verify(bundle(), since=since)


def entry(chance: Chance) -> int:
    return chance.choice(list(Entry.objects.values_list("pk", flat=True)))


def flip_a_bit(chance: Chance) -> None:
    pk, name = entry(chance), chance.choice(["row_id", "txid", "subject_id"])
    unguarded(f"UPDATE audit_entry SET {name} = {name} # (1 << %s) WHERE id = %s",
              chance.randrange(30), pk)  # fmt: skip


def flip_a_bit_of_a_hash(chance: Chance) -> None:
    index = chance.randrange(store.size())
    flip = "set_bit(hashes, %s, 1 - get_bit(hashes, %s))"
    bit = chance.randrange(256)
    unguarded(f"UPDATE audit_leaf SET hashes = {flip} WHERE index = %s", bit, bit, index)


def flip_a_bit_of_a_checkpoint(chance: Chance) -> None:
    pk = chance.choice(list(Checkpoint.objects.values_list("pk", flat=True)))
    at = chance.randrange(len(Checkpoint.objects.get(pk=pk).note))
    put = "overlay(note placing chr(ascii(substr(note, %s, 1)) # 1) from %s for 1)"
    unguarded(f"UPDATE audit_checkpoint SET note = {put} WHERE id = %s", at + 1, at + 1, pk)


def restate_a_checkpoint(chance: Chance) -> None:
    pk = chance.choice(list(Checkpoint.objects.values_list("pk", flat=True)))
    unguarded("UPDATE audit_checkpoint SET size = size + 1 WHERE id = %s", pk)


def edit_a_value(chance: Chance) -> None:
    name = chance.choice(TEXTS)
    known = {"operation": "'refused'", "road": "'page'"}  # the database takes no other words
    new = known.get(name, f"{name} || '.'")
    unguarded(f"UPDATE audit_entry SET {name} = {new} WHERE id = %s", entry(chance))


def edit_a_change(chance: Chance) -> None:
    unguarded("""UPDATE audit_entry SET changes = '{"name": [null, "other"]}' WHERE id = %s""",
              entry(chance))  # fmt: skip


def delete(chance: Chance) -> None:
    unguarded("DELETE FROM audit_entry WHERE id = %s", entry(chance))


def delete_with_its_leaf(chance: Chance) -> None:
    pk = entry(chance)
    unguarded("DELETE FROM audit_entry WHERE id = %s", pk)
    unguarded("DELETE FROM audit_leaf WHERE entry_id = %s", pk)


def insert(chance: Chance) -> None:
    """A copy under an id of its own, as if it had always been there."""
    columns = ", ".join(str(f.column) for f in Entry._meta.concrete_fields if f.column != "id")
    unguarded(
        f"INSERT INTO audit_entry (id, {columns}) OVERRIDING SYSTEM VALUE"
        f" SELECT -%s, {columns} FROM audit_entry WHERE id = %s",
        chance.randrange(1, 1000), entry(chance),
    )  # fmt: skip
    unguarded("UPDATE audit_entry SET txid = %s WHERE id < 0", chance.choice([5, 2**60]))


def swap(chance: Chance) -> None:
    a, b = chance.sample(range(store.size()), 2)
    unguarded("UPDATE audit_leaf SET entry_id = -entry_id WHERE index IN (%s, %s)", a, b)
    unguarded(
        "UPDATE audit_leaf l SET entry_id = -o.entry_id FROM audit_leaf o"
        " WHERE l.index IN (%s, %s) AND o.index IN (%s, %s) AND o.index <> l.index", a, b, a, b
    )  # fmt: skip


def move_the_clock(chance: Chance) -> None:
    by = chance.choice(["1 microsecond", "-1 day", "3 years"])
    unguarded("UPDATE audit_entry SET at = at + %s::interval WHERE id >= %s", by, entry(chance))


def truncate_the_tail(chance: Chance) -> None:
    """Back to an earlier checkpoint, without a trace of what came after."""
    sizes = list(Checkpoint.objects.order_by("size").values_list("size", flat=True))
    cut_to(chance.choice(sizes[:-1]))


def cut_to(size: int) -> None:
    unguarded("DELETE FROM audit_entry WHERE id IN (SELECT entry_id FROM audit_leaf"
              " WHERE index >= %s)", size)  # fmt: skip
    unguarded("DELETE FROM audit_leaf WHERE index >= %s", size)
    unguarded('DELETE FROM audit_node WHERE ("offset" + 1) * (1 << level) > %s', size)
    unguarded("DELETE FROM audit_checkpoint WHERE size > %s", size)


def rebuild(chance: Chance, key: Signer) -> None:
    """An entry changed and everything from it on worked out and signed anew."""
    sizes = list(Checkpoint.objects.order_by("id").values_list("size", flat=True))
    at = chance.randrange(sizes[-1])
    unguarded("UPDATE audit_entry SET reason = 'rebuilt' WHERE id ="
              " (SELECT entry_id FROM audit_leaf WHERE index = %s)", at)  # fmt: skip
    ids = sealed_ids()
    unguarded("TRUNCATE audit_leaf, audit_node")
    unguarded("DELETE FROM audit_checkpoint WHERE size > %s", at)
    tree = Frontier()
    for start, stop in zip([0, *sizes], sizes, strict=False):
        hashes = [leaf_hash(payload_by_id(pk) or b"") for pk in ids[start:stop]]
        for _, statement, values in grown(tree, ids[start:stop], hashes):
            unguarded(statement, *values)
        if stop > at:
            state = State(origin(), stop, tree.root())
            Checkpoint.objects.create(size=stop, root=state.root, note=state.signed([key]),
                                      floor_txid=2**62, floor_id=0)  # fmt: skip


def rebuild_with_the_key(chance: Chance) -> None:
    rebuild(chance, signer())


def rebuild_without_the_key(chance: Chance) -> None:
    rebuild(chance, Signer(origin(), b"\x66" * 32))


WAYS: list[Callable[[Chance], None]] = [
    flip_a_bit, flip_a_bit_of_a_hash, flip_a_bit_of_a_checkpoint, restate_a_checkpoint,
    edit_a_value, edit_a_change, delete, delete_with_its_leaf, insert, swap, truncate_the_tail,
    move_the_clock, rebuild_with_the_key, rebuild_without_the_key,
]  # fmt: skip
NEEDS_OUTSIDE = {truncate_the_tail, rebuild_with_the_key}


def test_the_untouched_history_is_intact(kept: str) -> None:
    report = check(kept)
    assert report.intact, list(report.lines())
    assert report.entries == Entry.objects.count() == 71


def test_every_tampering_is_found(kept: str) -> None:
    for number in range(rounds(2000, 70)):
        chance = Chance(number)
        tamper = WAYS[number % len(WAYS)]
        with transaction.atomic():
            tamper(chance)
            found, alone = check(kept), check()
            transaction.set_rollback(True)
        run_again()
        assert not found.intact, (number, tamper.__name__)
        assert alone.intact == (tamper in NEEDS_OUTSIDE), (number, tamper.__name__)
    assert check(kept).intact


def run_again() -> None:
    """A rollback also takes back the guards' standing aside; see that they are up."""
    with connection.cursor() as cursor:
        cursor.execute("SHOW session_replication_role")
        assert cursor.fetchone() == ("origin",)


def test_the_entry_is_named(kept: str) -> None:
    pk = entry_at(5)
    unguarded("UPDATE audit_entry SET reason = 'other' WHERE id = %s", pk)
    unguarded("DELETE FROM audit_entry WHERE id = %s", entry_at(50))
    insert(Chance(1))
    told = "\n".join(check(kept).lines())
    assert "Entry no. 6 is not what was sealed" in told
    assert "Entry no. 51: sealed, but not here" in told
    assert "an entry that was never sealed: id -" in told


def test_the_file_is_checked_without_django(kept: str, tmp_path: Path) -> None:
    from tests.audit.exporting.offline import offline  # noqa: PLC0415

    code, told = offline(tmp_path, b"".join(bundle()), kept)
    assert code == 3, told  # no key is pinned
    assert "is intact: all 71 entries" in told
    unguarded("UPDATE audit_entry SET actor = 'Nobody' WHERE id = %s", entry(Chance(3)))
    code, told = offline(tmp_path, b"".join(bundle()), kept)
    assert code == 1
    assert "is not what was sealed" in told
