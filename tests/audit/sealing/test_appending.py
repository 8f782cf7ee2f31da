"""Only the signer appends to the tree, its checkpoints and its keys: the program's role does not.

Every statement here once stopped sealing, or could have.
"""

from typing import Any

import psycopg
import pytest
from django.db import DatabaseError
from psycopg import sql
from pytest_django import Settings

from audit.ledger.note import Signer
from audit.sealing import store
from audit.sealing.keys import (
    DamagedError,
    SealingError,
    origin,
    promise,
    proof_after,
    record,
    signer,
)
from audit.sealing.keys import key_file as key_place
from audit.sealing.lateness import waiting_now
from audit.sealing.models import Checkpoint, LedgerKey
from audit.sealing.resume import resume
from audit.sealing.rotate import rotate
from audit.sealing.seal import seal
from audit.sealing.stops import stopped_now
from tests.audit.roles import Connection, program, role, signed_in
from tests.audit.sample import run
from tests.audit.sealed import ALL, last_checkpoint, sealed_ids, shelves, unguarded

__all__ = ["program", "role"]
pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("sealed_few")]

HASH = "sha256('stray')"
STRAY = [
    f"INSERT INTO audit_leaf SELECT max(index) + 1, 999999, {HASH} FROM audit_leaf",
    f"INSERT INTO audit_node VALUES (1, 900, {HASH})",
    "INSERT INTO audit_checkpoint (size, root, note, floor_txid, floor_id)"
    f" SELECT size, {HASH}, note, floor_txid, floor_id FROM audit_checkpoint LIMIT 1",
    "INSERT INTO audit_ledgerkey (public, replaces) VALUES ('stray+key', '')",
]
EXTEND = "SELECT audit_extend({}, ARRAY[{}]::bigint[], ARRAY[1]::bigint[], {}, {}, {})"
SIGN = "SELECT audit_signed({}, {}, 'note', now(), 1, 1, {}, {})"
MADE_UP = "sha256('made up')"


@pytest.fixture
def sealed_few(sample_tables: None, transactional_db: None) -> None:
    """Five entries sealed, and three more that wait."""
    unguarded(f"TRUNCATE {ALL}")
    shelves(5)
    assert seal() + seal() == 5 + 1  # and the key's own
    shelves(3)


def last_shown() -> str:
    """What was last shown as proof, as SQL: whoever reads along may have it."""
    before = Checkpoint.objects.order_by("-id")[1]
    return "'\\x" + (proof_after(before, signer()) or b"").hex() + "'::bytea"


@pytest.mark.parametrize("statement", STRAY)
def test_the_program_puts_no_row_of_its_own_there(program: Connection, statement: str) -> None:
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        program.execute(sql.SQL(statement))
    assert seal() == 3
    assert not stopped_now()


def test_nor_by_copying(program: Connection) -> None:
    with (
        pytest.raises(psycopg.errors.InsufficientPrivilege),
        program.cursor() as cursor,
        cursor.copy("COPY audit_leaf FROM STDIN"),
    ):
        pass


@pytest.mark.parametrize("proof", ["NULL", MADE_UP, "''::bytea", "shown before"])
def test_nor_by_the_functions_without_proof_of_the_key(program: Connection, proof: str) -> None:
    seal()
    shelves(1)
    shown = last_shown() if proof == "shown before" else proof
    waiting = program.execute("SELECT max(id) FROM audit_entry").fetchone()
    size, pk = store.size(), waiting[0] if waiting else 0
    node = "''::bytea" if size % 2 == 0 else HASH
    for statement in (
        EXTEND.format(size, pk, HASH, node, shown),
        SIGN.format(size, HASH, HASH, shown),
        f"SELECT audit_keyed('stray+key', '{LedgerKey.objects.latest('id').public}', {shown})",
    ):
        with pytest.raises(psycopg.errors.InsufficientPrivilege, match="Only the signer"):
            program.execute(sql.SQL(statement))
    assert seal() == 1


def test_the_program_seals_all_the_same(role: str) -> None:
    with signed_in(role):
        assert seal() == 3
        rotate(by=None, lost=False, reason="a year is over")
        assert seal() > 0
    assert not stopped_now()
    assert len(sealed_ids()) == store.size()


def test_nobody_reads_the_proof_while_it_is_good(
    role: str, program: Connection, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The role reads what its other sessions ask, and may end them before the proof is used up."""
    run_plainly, seen = psycopg.Cursor.execute, list[str]()

    def looked_at(cursor: Any, query: Any, *values: Any, **options: Any) -> Any:  # noqa: ANN401
        done = run_plainly(cursor, query, *values, **options)
        if cursor.connection is not program:
            seen.extend(text for (text,) in program.execute(
                "SELECT query FROM pg_stat_activity"
                " WHERE usename = current_user AND pid <> pg_backend_pid()"))  # fmt: skip
        return done

    shown = (proof_after(last_checkpoint(), signer()) or b"").hex()
    with monkeypatch.context() as patched, signed_in(role):
        patched.setattr(psycopg.Cursor, "execute", looked_at)
        assert seal() == 3
        rotated = (proof_after(last_checkpoint(), signer()) or b"").hex()
        rotate(by=None, lost=False, reason="a year is over")
    for function in ("audit_extend", "audit_signed", "audit_keyed"):
        assert any(function in text for text in seen)
    assert not [text for text in seen if shown in text or rotated in text]


def test_the_program_seals_from_the_very_first(role: str) -> None:
    unguarded(f"TRUNCATE {ALL}")
    key_place().unlink()
    key_place().with_name(key_place().name + ".state").unlink()
    shelves(2)
    with signed_in(role):
        assert seal() + seal() == 2 + 1
    assert last_checkpoint().promise is not None


@pytest.mark.parametrize(
    ("start", "first", "leaf", "nodes", "told"),
    [
        (1, 0, HASH, "''::bytea", "does not end at leaf"),
        (0, 999999, HASH, "''::bytea", "Not all of 1 entries"),
        (0, 0, "'short'::bytea", "''::bytea", "Not a hash for each of 1 entries"),
        (0, 0, HASH, "sha256('a') || sha256('b')", "Not a hash for each of . nodes"),
    ],
)
def test_what_is_appended_extends_the_tree(
    start: int, first: int, leaf: str, nodes: str, told: str
) -> None:
    """Even with the proof: the places are the database's own, and the entries are there."""
    (pk,) = [max(sealed_ids()) + 1] if first == 0 else [first]
    proof = "'\\x" + (proof_after(last_checkpoint(), signer()) or b"").hex() + "'::bytea"
    with pytest.raises(DatabaseError, match=told):
        run(EXTEND.format(store.size() + start, pk, leaf, nodes, proof))
    with pytest.raises(DatabaseError, match="has not"):
        run(SIGN.format(store.size() + 1, HASH, HASH, proof))


def test_an_entry_is_never_sealed_twice() -> None:
    proof = "'\\x" + (proof_after(last_checkpoint(), signer()) or b"").hex() + "'::bytea"
    for sealed in sealed_ids():  # the first of a row and those that follow it there
        with pytest.raises(DatabaseError, match="sealed already"):
            run(EXTEND.format(store.size(), sealed, HASH, "''::bytea", proof))


def test_a_row_that_asks_for_another_keys_proof_stops_sealing(role: str) -> None:
    other = Signer.new(origin())
    asked = promise(other, last_checkpoint().note).hex()
    unguarded(f"UPDATE audit_checkpoint SET promise = '\\x{asked}'")
    with signed_in(role), pytest.raises(DamagedError):
        seal()
    assert "asks for proof of another key" in stopped_now()
    with signed_in(role), pytest.raises(DatabaseError, match="Only the signer"):
        resume(by=None, reason="as the program", as_it_stands=True)
    resume(by=None, reason="as the owner", as_it_stands=True)
    with signed_in(role):
        assert seal() >= 3


def test_a_lost_key_is_replaced_by_the_owner_alone(role: str) -> None:
    key_place().unlink()
    with signed_in(role), pytest.raises(DatabaseError, match="Only the signer"):
        rotate(by=None, lost=True, reason="the disk is gone")
    rotate(by=None, lost=True, reason="the disk is gone")
    with signed_in(role):
        assert seal() > 0


def test_one_from_before_there_were_promises_goes_on(role: str) -> None:
    unguarded("UPDATE audit_checkpoint SET promise = NULL")
    with signed_in(role):
        assert seal() == 3
    assert last_checkpoint().promise is not None
    assert store.size() == store.size()


def test_before_a_promise_the_role_may_append_and_that_is_found(program: Connection) -> None:
    """As docs/threat-model.md says of the time until the first checkpoint that promises."""
    unguarded("UPDATE audit_checkpoint SET promise = NULL")
    waiting = max(sealed_ids()) + 1
    program.execute(sql.SQL(EXTEND.format(store.size(), waiting, HASH, "''::bytea", "NULL")))
    with pytest.raises(SealingError):
        seal()
    assert stopped_now()


def test_who_holds_the_sealers_lock_delays_and_that_is_an_alarm(
    program: Connection, settings: Settings
) -> None:
    program.execute("SELECT pg_advisory_lock(%s)", [store.LOCK])
    assert seal() == 0
    settings.LEDGER_LATE = -1
    assert waiting_now().alarm
    program.execute("SELECT pg_advisory_unlock_all()")
    assert seal() == 3
    assert waiting_now().waiting == 0


def test_the_proof_is_of_this_checkpoint_and_this_key() -> None:
    last, key = last_checkpoint(), signer()
    assert proof_after(None, key) is None
    shown = proof_after(last, key)
    seal()
    assert proof_after(last_checkpoint(), key) != shown
    assert shown
    assert key.seed not in shown


def test_another_key_is_not_recorded_over_a_newer_one() -> None:
    proof = proof_after(last_checkpoint(), signer())
    new = Signer.new(origin())
    with pytest.raises(DatabaseError, match="The newest key is not"):
        record(new, "", by=None, action="ledger.key_rotated", proof=proof)
