"""The signer signs only what extends what it signed last, and doesn't ask the database for that."""

import json
import stat
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client

from audit.capture.models import Entry
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.ledger.merkle import Frontier, leaf_hash
from audit.ledger.note import Signer
from audit.sealing import seal as module
from audit.sealing import store
from audit.sealing.extending import StoppedError
from audit.sealing.keys import DamagedError, SealingError
from audit.sealing.memory import Memory, begin_anew, recall, remember, signing_alone, state_file
from audit.sealing.models import Checkpoint, LedgerKey, SealingEvent
from audit.sealing.payload import COLUMNS, payload_of
from audit.sealing.resume import RESUMED
from audit.sealing.rotate import rotate
from audit.sealing.seal import ADOPTED, seal
from audit.sealing.stops import STOPPED, stopped_now
from tests.audit.sealed import last_checkpoint, sealed_ids, shelves, unguarded
from tests.cast import Cast
from web.tasks import sign_of_life

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]


def history(*sizes: int) -> None:
    """So many entries, sealed batch by batch."""
    for size in sizes:
        shelves(size)
        while seal():
            pass


def rebuilt(ids: list[int]) -> Frontier:
    """As superuser, without the key: leaves and nodes anew over these entries, as they are now."""
    unguarded("TRUNCATE audit_leaf, audit_node")
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT id, {COLUMNS} FROM audit_entry e WHERE id = ANY(%s) ORDER BY txid, id", [ids]
        )
        rows = cursor.fetchall()
    tree = Frontier()
    store.append(
        0, [row[0] for row in rows], [leaf_hash(payload_of(row[1:])) for row in rows], tree
    )
    return tree


def told(tree: Frontier) -> None:
    """The last checkpoint's row says what was rebuilt."""
    unguarded(
        "UPDATE audit_checkpoint SET size = %s, root = decode(%s, 'hex')"
        " WHERE id = (SELECT max(id) FROM audit_checkpoint)",
        tree.size, tree.root().hex(),
    )  # fmt: skip


def forge() -> None:
    """An entry altered, four deleted, the tree rebuilt and written into the last checkpoint."""
    ids = sealed_ids()
    unguarded("UPDATE audit_entry SET actor = 'Nobody' WHERE id = %s", ids[3])
    unguarded(
        "DELETE FROM audit_entry WHERE id = ANY(string_to_array(%s, ',')::bigint[])",
        ",".join(map(str, ids[-4:])),
    )
    told(rebuilt(ids[:-4]))


def test_a_rebuilt_history_is_not_signed() -> None:
    history(9, 6)
    before = list(Checkpoint.objects.order_by("id").values_list("note", flat=True))
    forge()
    shelves(2)
    with pytest.raises(DamagedError, match=r"row says 12 entries .* its note signs 16"):
        seal()
    assert list(Checkpoint.objects.order_by("id").values_list("note", flat=True)) == before
    with pytest.raises(StoppedError, match="row says 12 entries"):
        seal()
    assert "row says 12 entries" in stopped_now()
    assert Entry.objects.get(action=STOPPED).reason == stopped_now()


def test_the_stop_stays_when_everything_looks_right_again_or_its_record_is_removed() -> None:
    history(5)
    size, root = last_checkpoint().size, bytes(last_checkpoint().root)
    told(Frontier())
    with pytest.raises(DamagedError):
        seal()
    unguarded("UPDATE audit_checkpoint SET size = %s, root = decode(%s, 'hex')", size, root.hex())
    unguarded("TRUNCATE audit_sealingevent")
    shelves(1)
    with pytest.raises(StoppedError):
        seal()
    assert stopped_now()


def test_an_older_signed_state_is_not_gone_on_from() -> None:
    """Cut back to an earlier checkpoint, whose note and row and tree all fit."""
    history(5, 4)
    first = Checkpoint.objects.order_by("id")[0]
    ids = sealed_ids()
    unguarded("DELETE FROM audit_checkpoint WHERE id > %s", first.pk)
    unguarded("DELETE FROM audit_entry WHERE id > %s", ids[first.size - 1])
    rebuilt(ids[: first.size])
    with pytest.raises(DamagedError, match="cut back, or restored from a backup"):
        seal()


def test_a_note_that_does_not_verify_stops() -> None:
    history(5)
    unguarded("UPDATE audit_checkpoint SET note = replace(note, E'\\n5\\n', E'\\n4\\n')")
    unguarded("UPDATE audit_checkpoint SET note = replace(note, E'\\n6\\n', E'\\n4\\n')")
    with pytest.raises(DamagedError, match="does not verify with the signing key"):
        seal()


def test_missing_checkpoints_and_an_emptied_database_stop() -> None:
    history(5)
    unguarded("TRUNCATE audit_checkpoint")
    with pytest.raises(DamagedError):
        seal()
    begin_anew(Memory(recall().signed))  # type: ignore[union-attr]
    unguarded("TRUNCATE audit_entry, audit_leaf, audit_node, audit_ledgerkey")
    with pytest.raises(DamagedError, match="cut back"):
        seal()


def test_another_first_key_in_the_database_stops() -> None:
    history(5)
    unguarded("UPDATE audit_ledgerkey SET id = 77")
    unguarded("INSERT INTO audit_ledgerkey (id, public, replaces) VALUES (1, %s, '')",
              Signer.new("x").verifier.text)  # fmt: skip
    with pytest.raises(DamagedError, match="list of keys was changed"):
        seal()


def test_the_signers_memory_is_its_own_and_only_goes_on(key_file: Path) -> None:
    history(5)
    kept = recall()
    assert kept
    assert (kept.signed.size, kept.signed.root) == (
        last_checkpoint().size, bytes(last_checkpoint().root),
    )  # fmt: skip
    assert stat.S_IMODE(state_file().stat().st_mode) == 0o600
    assert {"origin", "size", "root", "time"} <= set(json.loads(state_file().read_text()))
    history(3)
    with pytest.raises(SealingError, match="only goes on"):
        remember(kept)
    state_file().write_text("{")
    with pytest.raises(SealingError, match="can't be read"):
        seal()


def test_two_workers_of_one_machine_do_not_both_sign() -> None:
    shelves(3)
    with signing_alone() as alone:
        assert alone
        assert seal() == 0
    assert seal() == 4 - 1


def test_without_a_memory_it_begins_from_a_checkpoint_that_verifies() -> None:
    history(5)
    state_file().unlink()
    history(2)
    assert Entry.objects.filter(action=ADOPTED).count() == 1
    assert recall().signed.size == last_checkpoint().size == Entry.objects.count()  # type: ignore[union-attr]
    state_file().unlink()
    told(Frontier())
    with pytest.raises(DamagedError):
        seal()
    assert stopped_now()


def test_a_worker_behind_goes_on_from_what_another_signed() -> None:
    history(5)
    behind = recall()
    history(4, 3)
    assert behind
    begin_anew(behind)
    history(2)
    assert verify(bundle()).intact
    begin_anew(behind)
    forge()
    with pytest.raises(DamagedError):
        seal()


def test_what_was_signed_and_not_committed_is_stored_as_signed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    history(5)
    shelves(4)
    monkeypatch.setattr(module, "put", lambda *_: 1 / 0)  # after the memory, before the commit
    with pytest.raises(ZeroDivisionError):
        seal()
    monkeypatch.undo()
    signed = recall()
    shelves(2)
    while seal():
        pass
    assert signed
    state = Checkpoint.objects.get(size=signed.signed.size)
    assert bytes(state.root) == signed.signed.root
    assert verify(bundle()).intact


def test_what_was_signed_and_not_committed_may_not_change(monkeypatch: pytest.MonkeyPatch) -> None:
    history(5)
    shelves(4)
    monkeypatch.setattr(module, "put", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        seal()
    monkeypatch.undo()
    unguarded(
        "UPDATE audit_entry SET actor = 'Nobody' WHERE id = (SELECT max(id) FROM audit_entry)"
    )
    with pytest.raises(DamagedError, match="other than signed"):
        seal()


def test_a_restored_database_is_gone_on_from_by_command_with_a_reason() -> None:
    history(5, 4)
    first = Checkpoint.objects.order_by("id")[0]
    ids = sealed_ids()
    unguarded("DELETE FROM audit_checkpoint WHERE id > %s", first.pk)
    unguarded("DELETE FROM audit_entry WHERE id > %s", ids[first.size - 1])
    rebuilt(ids[: first.size])
    with pytest.raises(DamagedError):
        seal()
    with pytest.raises(CommandError, match="reason"):
        call_command("resume_sealing", "--reason", " ")
    call_command("resume_sealing", "--reason", "restored the backup of Sunday")
    assert not stopped_now()
    told_of = Entry.objects.get(action=RESUMED)
    assert told_of.reason == "restored the backup of Sunday"
    assert f"from {first.size} entries" in SealingEvent.objects.latest("id").words
    history(2)
    assert verify(bundle()).intact
    with pytest.raises(CommandError, match="has not stopped"):
        call_command("resume_sealing", "--reason", "again")


def test_a_forgery_is_gone_on_from_only_as_it_stands() -> None:
    history(9, 6)
    kept = last_checkpoint().note
    forge()
    with pytest.raises(DamagedError):
        seal()
    with pytest.raises(CommandError, match="row was changed"):
        call_command("resume_sealing", "--reason", "no backup")
    call_command("resume_sealing", "--reason", "no backup", "--as-it-stands")
    history(2)
    assert not verify(bundle()).intact  # the note of before is still there
    assert not verify(bundle(), since=[kept]).intact


def test_a_replaced_key_goes_on_and_refuses_what_does_not_fit(key_file: Path) -> None:
    history(5)
    rotate(by=None, lost=False, reason="a year is over")
    history(2)
    key_file.unlink()
    rotate(by=None, lost=True, reason="the disk broke")
    history(2)
    assert LedgerKey.objects.count() == 3
    forge()
    with pytest.raises(SealingError, match="row was changed"):
        rotate(by=None, lost=False, reason="r")
    assert store.size() == recall().signed.size - 4  # type: ignore[union-attr]


def test_the_alarm_shows_and_strangers_learn_no_more(cast: Cast) -> None:
    history(9, 6)
    assert "sealing" not in Client().get("/healthz").content.decode()
    forge()
    with pytest.raises(DamagedError):
        seal()
    sign_of_life()
    answer = Client().get("/healthz")
    assert answer.status_code == 200
    assert answer.content.decode() == "ok\nattention: the history is not sealed any more\n"
    browser = Client()
    browser.force_login(cast.owner)
    for page in ("/", "/history/", "/history/ledger/"):
        text = browser.get(page).content.decode()
        assert "Sealing has stopped" in text, page
        assert "row was changed" in text, page
