"""The newest checkpoint goes to the witnesses, and what they say is kept, checked and shown."""

import pytest
from django.db import DatabaseError, transaction
from pytest_django import Settings

from audit.alarms import alarms
from audit.capture.models import Entry
from audit.ledger.checkpoint import Checkpoint as State
from audit.ledger.note import Signer
from audit.ledger.witness.cosignature import Cosigner
from audit.ledger.witness.known import KnownWitness
from audit.ledger.witness.protocol import Answer, conflict
from audit.ledger.witness.service import WitnessService
from audit.sealing import store
from audit.sealing.keys import origin, promise, signer, verifiers
from audit.sealing.memory import Memory, begin_anew
from audit.sealing.rotate import rotate
from audit.tasks import offer_checkpoint
from audit.witnessing.models import Cosignature, WitnessEvent, WitnessEventKind
from audit.witnessing.offering import offer_newest
from audit.witnessing.standing import unwitnessed, witnessing_now
from tests.audit.ledger.witness.independent import cosigned_at
from tests.audit.sealed import last_checkpoint, sealed_ids, unguarded
from tests.audit.sealing.test_extending import rebuilt
from tests.audit.witnessing.conftest import Starter, history

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]


def said() -> list[str]:
    return [alarm.words for alarm in unwitnessed()]


def kinds() -> list[str]:
    return list(WitnessEvent.objects.order_by("id").values_list("kind", flat=True))


def test_a_witness_cosigns_what_is_sealed_and_it_is_kept(start_witness: Starter) -> None:
    history(5)
    witness = start_witness()
    assert offer_checkpoint() == 1
    row = Cosignature.objects.get()
    newest = last_checkpoint()
    assert (row.checkpoint_id, row.size) == (newest.pk, newest.size)
    text = newest.note.rpartition("\n\n")[0] + "\n"
    assert cosigned_at(witness.known.key.text, text, row.line) == row.at.timestamp()
    assert offer_checkpoint() == 0, "once is enough"
    history(4)
    assert offer_checkpoint() == 1
    assert witness.size == last_checkpoint().size
    # One entry says that it began, none each time.
    assert Entry.objects.filter(action="witness.cosigns").count() == 1


def test_it_goes_on_from_where_the_witness_stands(start_witness: Starter) -> None:
    history(5)
    start_witness()
    offer_newest()
    unguarded("TRUNCATE audit_cosignature")  # all that we knew of it
    history(4)
    assert offer_newest() == 1
    assert Cosignature.objects.get().size == last_checkpoint().size


def test_one_that_stands_elsewhere_each_time_is_no_refusal(
    start_witness: Starter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not even where the last size it names is the one that was to be offered."""
    history(5)
    start_witness()
    sizes = iter([1, 2, last_checkpoint().size])
    monkeypatch.setattr(WitnessService, "answer", lambda *_: conflict(next(sizes)))
    assert offer_newest() == 0
    assert kinds() == [WitnessEventKind.SILENT]


def test_an_answer_that_was_lost_is_asked_for_again(start_witness: Starter) -> None:
    history(5)
    witness = start_witness()
    offer_newest()
    unguarded("TRUNCATE audit_cosignature")
    assert witness.size == last_checkpoint().size
    assert offer_newest() == 1


def test_what_a_witness_said_is_kept(start_witness: Starter) -> None:
    history(5)
    start_witness()
    offer_newest()
    for row in (Cosignature.objects, WitnessEvent.objects):
        with pytest.raises(DatabaseError), transaction.atomic():
            row.update(witness="another")
        with pytest.raises(DatabaseError), transaction.atomic():
            row.all().delete()


def test_without_witnesses_nothing_is_asked(settings: Settings) -> None:
    history(3)
    settings.LEDGER_WITNESSES, settings.LEDGER_WITNESSES_NEEDED = [], 0
    assert offer_newest() == 0
    assert witnessing_now() is None
    assert said() == []


def test_a_witness_that_saw_another_history_raises_the_alarm_at_once(
    start_witness: Starter,
) -> None:
    """Rewritten by who has the database and the key: its memory was put right as well."""
    history(9, 6)
    start_witness()
    offer_newest()
    ids = sealed_ids()
    unguarded("UPDATE audit_entry SET actor = 'Nobody' WHERE id = %s", ids[3])
    tree = rebuilt(ids)
    note = resign(tree.size, tree.root())
    unguarded("UPDATE audit_checkpoint SET note = %s, root = decode(%s, 'hex')"
              " WHERE size = 16", note, tree.root().hex())  # fmt: skip
    unguarded("TRUNCATE audit_cosignature")
    assert offer_newest() == 0
    assert kinds() == [WitnessEventKind.COSIGNS, WitnessEventKind.REFUSED]
    assert "cosigned 16 entries that are not those signed here" in said()[0]
    assert Entry.objects.get(action="witness.refused").reason in said()[0]
    assert any("refuses to cosign" in alarm.words for alarm in alarms())
    offer_newest()
    assert len(kinds()) == 2, "said once"


def resign(size: int, root: bytes) -> str:
    """The note that somebody with the signing key's file would make."""
    return State(origin(), size, root).signed([signer()])


def test_a_history_that_was_cut_back_raises_the_alarm(start_witness: Starter) -> None:
    history(9, 6)
    start_witness()
    offer_newest()
    first = store.newest_checkpoint()
    assert first
    unguarded("DELETE FROM audit_checkpoint WHERE size = %s", first.size)
    unguarded("TRUNCATE audit_cosignature")
    assert offer_newest() == 0
    assert "It cosigned 16 entries, and only 10 are signed here" in said()[0]


def test_a_tree_that_grew_from_another_is_refused(start_witness: Starter) -> None:
    history(5)
    witness = start_witness()
    offer_newest()
    ids = sealed_ids()
    unguarded("UPDATE audit_entry SET actor = 'Nobody' WHERE id = %s", ids[1])
    rebuilt(ids)
    root = store.frontier(6).root()
    note = resign(6, root)
    unguarded("UPDATE audit_checkpoint SET note = %s, root = decode(%s, 'hex'),"
              " promise = decode(%s, 'hex')",
              note, root.hex(), promise(signer(), note).hex())  # fmt: skip
    begin_anew(Memory(State(origin(), 6, root)))
    history(3)
    assert offer_newest() == 0
    assert "do not extend the 6 it cosigned" in said()[0]
    assert witness.size == 6


def test_a_witness_that_gives_nothing_is_an_alarm_only_after_long(
    start_witness: Starter, settings: Settings
) -> None:
    history(5)
    witness = start_witness()
    offer_newest()
    witness.stop()
    history(4)
    assert offer_newest() == 0
    assert said() == []
    assert kinds() == [WitnessEventKind.COSIGNS]
    settings.LEDGER_WITNESS_LATE = -1
    assert offer_newest() == 0
    assert kinds() == [WitnessEventKind.COSIGNS, WitnessEventKind.SILENT]
    assert said() == ["The history after entry no. 6 was not seen by 1 of 1 witnesses."]


def test_so_many_are_needed_as_were_asked_for(start_witness: Starter, settings: Settings) -> None:
    history(5)
    first, second = start_witness("one.example"), start_witness("two.example")
    settings.LEDGER_WITNESS_LATE = -1
    assert offer_newest() == 2
    second.stop()
    history(4)
    assert offer_newest() == 1
    assert said() == ["The history after entry no. 6 was not seen by 2 of 2 witnesses."]
    settings.LEDGER_WITNESSES_NEEDED = 1
    assert said() == []
    assert first.size == last_checkpoint().size


def test_a_witness_that_trusts_no_key_of_ours_is_told_which(
    start_witness: Starter, settings: Settings
) -> None:
    history(5)
    stranger = Signer("else.example", b"\x01" * 32).verifier
    old = Signer(origin(), b"\x01" * 32).verifier
    start_witness("one.example", logs=[stranger])
    start_witness("two.example", logs=[old])
    settings.LEDGER_WITNESS_LATE = -1
    offer_newest()
    words = list(WitnessEvent.objects.order_by("id").values_list("words", flat=True))
    assert words[0].startswith("it does not know this history: start it with --log ")
    assert (
        words[1] == f"it does not know the signing key: start it with --log {verifiers()[-1].text}"
    )


def test_a_replaced_key_is_cosigned_by_who_trusts_both(start_witness: Starter) -> None:
    history(5)
    witness = start_witness()
    offer_newest()
    rotate(by=None, lost=False, reason="a year is over")
    assert offer_newest() == 1, "the handover is signed by both keys"
    history(3)
    assert offer_newest() == 0, "what only the new key signed is not"
    witness.server.service = type(witness.server.service)(witness.folder, verifiers())
    assert offer_newest() == 1


ANSWERS = {
    "another key's": Cosigner("laptop.example", b"\x66" * 32).cosign("", 1),
    "nothing": "",
    "no line": "cosigned\n",
    "more than one reads": "x" * 70_000,
    "not utf-8": "\udcff",
}


@pytest.mark.parametrize("which", ANSWERS)
def test_an_answer_without_its_cosignature_is_not_kept(
    which: str, start_witness: Starter, monkeypatch: pytest.MonkeyPatch
) -> None:
    history(5)
    witness = start_witness()
    body = ANSWERS[which]

    def send(handler: object, answer: object) -> None:
        raw = body.encode("utf-8", "surrogateescape")
        handler.send_response(200)  # type: ignore[attr-defined]
        handler.send_header("Content-Length", str(len(raw)))  # type: ignore[attr-defined]
        handler.end_headers()  # type: ignore[attr-defined]
        handler.wfile.write(raw)  # type: ignore[attr-defined]

    monkeypatch.setattr("audit.ledger.witness.server.Handler._send", send)
    assert offer_newest() == 0
    assert Cosignature.objects.count() == 0
    assert kinds() == [WitnessEventKind.SILENT]
    assert witness.size == 6  # it did cosign; the next offer gets it
    monkeypatch.undo()


def test_a_witness_with_a_wrong_clock_is_told_so(
    start_witness: Starter, monkeypatch: pytest.MonkeyPatch
) -> None:
    history(5)
    start_witness()
    monkeypatch.setattr("audit.ledger.witness.cosignature.time.time", lambda: 1_000_000_000.0)
    assert offer_newest() == 0
    assert "its clock is -" in WitnessEvent.objects.get().words


def test_one_that_leads_elsewhere_has_not_cosigned(
    start_witness: Starter, monkeypatch: pytest.MonkeyPatch
) -> None:
    history(5)
    start_witness()
    monkeypatch.setattr(WitnessService, "answer", lambda *_: Answer(307, "elsewhere\n"))
    assert offer_newest() == 0
    assert WitnessEvent.objects.get().words == "it answered 307"


def test_sealing_does_not_wait_for_a_witness(start_witness: Starter) -> None:
    history(5)
    start_witness().stop()
    history(4)
    assert last_checkpoint().size == Entry.objects.count()


@pytest.mark.parametrize(
    "line",
    [
        *("", "x", "key http://h", "{key}", "{key} http://", "{key} ftp://h", "{key} http://h:0"),
        *("{key} http://u:p@h", "{key} http://h?x=1", "{key} http://h:x"),
    ],
)
def test_a_witness_that_can_not_be_meant(line: str) -> None:
    key = Cosigner("laptop.example", b"\x01" * 32).verifier.text
    with pytest.raises(ValueError, match="is not usable"):
        KnownWitness.read(line.format(key=key))
    assert KnownWitness.read(f"{key} https://h.example/prefix/").url == "https://h.example/prefix"
