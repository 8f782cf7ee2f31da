"""What a witness answers, in the words of C2SP tlog-witness, and whatever anybody sends."""

import json
import random
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.errors import LedgerError
from audit.ledger.note import Signer
from audit.ledger.witness.protocol import MOST_PROOF, SIZE, Answer, Offer, read_offer
from audit.ledger.witness.service import WitnessService
from audit.ledger.witness.state import Folder, FolderError, Seen, read_state
from tests.audit.ledger.witness.independent import cosigned_at, grown, hashed, request
from tests.audit.ledger.witness.logs import KEY, ORIGIN, OTHER, Log
from tests.services import rounds


class Desk:
    """A witness and what it may be asked."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self.key = folder.cosigner.verifier.text
        self.service = WitnessService(folder, [KEY.verifier])

    def answer(self, body: bytes) -> Answer:
        return self.service.answer(body)

    @property
    def size(self) -> int:
        return read_state(self.folder.path).get(ORIGIN, Seen()).size


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    folder = Folder(tmp_path / "witness", "laptop.example/witness")
    yield Desk(folder)
    folder.close()


def test_it_cosigns_what_extends_and_keeps_it_first(desk: Desk) -> None:
    log = Log(lines=["time 2026-11-28T12:00:00Z"])
    for old, size in ((0, 0), (0, 1), (1, 1), (1, 6), (6, 8), (8, 17)):
        answer = desk.answer(log.offer(old, size))
        assert (answer.status, desk.size) == (200, size), answer
        assert cosigned_at(desk.key, log.body(size), answer.body)
        kept = read_state(desk.folder.path)[ORIGIN].note
        assert kept == log.checkpoint(size) + answer.body


def test_another_start_than_its_own_is_a_conflict_with_its_size(desk: Desk) -> None:
    log = Log()
    assert desk.answer(log.offer(3, 5)) == Answer(409, "0\n", SIZE)
    desk.answer(log.offer(0, 5))
    answer = desk.answer(log.offer(0, 9))
    assert (answer.status, answer.kind, answer.size) == (409, "text/x.tlog.size", 5)
    assert desk.answer(log.offer(5, 9)).status == 200


def test_a_rolled_back_history_is_refused(desk: Desk) -> None:
    log = Log()
    desk.answer(log.offer(0, 9))
    assert desk.answer(log.offer(0, 6)).size == 9
    assert desk.answer(log.offer(6, 6)).size == 9
    assert desk.answer(log.offer(9, 6)).status == 400
    assert desk.size == 9


def test_a_rewritten_history_is_refused(desk: Desk, caplog: pytest.LogCaptureFixture) -> None:
    desk.answer(Log().offer(0, 9))
    other = Log("rewritten")
    assert desk.answer(other.offer(9, 14)).status == 422
    assert f"NOT shown to extend 9 entries: {other.checkpoint(14)!r}" in caplog.text
    evidence = desk.folder.path / "refused.txt"
    assert not evidence.exists(), "a true checkpoint with a wrong proof would look the same"
    same = desk.answer(other.offer(9, 9))
    assert (same.status, same.size) == (409, None)
    assert "ANOTHER tree" in caplog.text
    assert evidence.read_text() == other.checkpoint(9)
    assert desk.answer(Log().offer(9, 10)).status == 200


def test_a_forged_checkpoint_is_refused(desk: Desk) -> None:
    assert desk.answer(Log(key=OTHER).offer(0, 4)).status == 403
    true = Log().offer(0, 4)
    assert desk.answer(true.replace(b"\n4\n", b"\n5\n")).status == 403
    stranger = Log(key=Signer("else.example", b"\x01" * 32), origin="else.example")
    assert desk.answer(stranger.offer(0, 4)).status == 404
    # Signed with the trusted key, but of a history with another name than the key's.
    assert desk.answer(Log(origin="else.example").offer(0, 4)).status == 404
    assert desk.size == 0


@pytest.mark.parametrize(
    ("old", "size", "proof", "root", "status"),
    [
        (0, 0, [hashed(b"x")], None, 422),  # from nothing the proof is empty
        (0, 4, [hashed(b"x")], None, 422),
        (0, 0, [], hashed(b"x"), 422),  # the empty tree has one root
        (4, 4, [hashed(b"x")], None, 422),
        (4, 8, [], None, 422),
        (4, 8, [hashed(b"x")], None, 422),
    ],
)
def test_proofs_that_do_not_fit(
    desk: Desk, old: int, size: int, proof: list[bytes], root: bytes | None, status: int
) -> None:
    log = Log()
    if old:
        desk.answer(log.offer(0, old))
    assert desk.answer(request(old, proof, log.checkpoint(size, root))).status == status
    assert desk.size == old


@pytest.mark.parametrize(
    "body",
    [
        b"", b"\n", b"\xff", b"old 0", b"old 0\n", b"old 0\n\n", b"old 00\n\n{}", b"old -1\n\n{}",
        b"old  0\n\n{}", b"OLD 0\n\n{}", b"old 0\nnonsense\n\n{}", b"old 0\nAAAA\n\n{}",
        b"old 0\r\n\r\n{}", b"old 1e3\n\n{}", b"old 9999999999999999999999\n\n{}", b"{}",
        b"old 0\n{}",
    ],
)  # fmt: skip
def test_what_is_no_offer(desk: Desk, body: bytes) -> None:
    answer = desk.answer(body.replace(b"{}", Log().checkpoint(3).encode()))
    assert answer.status == 400
    assert desk.size == 0


def test_a_proof_of_more_than_63_hashes_is_no_offer(desk: Desk) -> None:
    steps = [hashed(b"x")] * (MOST_PROOF + 1)
    assert desk.answer(request(0, steps, Log().checkpoint(3))).status == 400
    with pytest.raises(LedgerError, match="63"):
        _ = Offer(0, tuple(steps), Log().checkpoint(3)).text


def test_an_offer_reads_back_as_the_second_witness_writes_it() -> None:
    log = Log()
    body = log.offer(3, 11)
    offer = read_offer(body.decode())
    assert offer.text.encode() == body
    assert offer.proof == tuple(grown(3, log.up_to(11)))


def test_signatures_of_strangers_are_neither_looked_at_nor_kept(desk: Desk) -> None:
    """Enough of them would make the kept note one that can't be read again."""
    note = Log().checkpoint(3)
    strangers = [Signer(f"s{number}.example", bytes([number]) * 32) for number in range(1, 63)]
    junk = "".join(each.sign(Log().body(3)) for each in strangers)
    assert desk.answer(request(0, [], note + junk)).status == 200
    kept = read_state(desk.folder.path)[ORIGIN].note
    assert kept.startswith(note)
    assert kept.count("\u2014") == 2


def test_of_offers_that_race_one_is_cosigned(desk: Desk) -> None:
    log, answers = Log(), list[Answer]()
    desk.answer(log.offer(0, 5))
    bodies = [log.offer(5, size) for size in range(6, 46)]
    random.shuffle(bodies)
    start = threading.Barrier(8)

    def ask(mine: list[bytes]) -> None:
        start.wait()
        answers.extend(desk.answer(body) for body in mine)

    threads = [threading.Thread(target=ask, args=(bodies[at::8],)) for at in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answer.status for answer in answers) == [200] + [409] * 39
    cosigned = next(answer for answer in answers if answer.status == 200)
    assert cosigned_at(desk.key, log.body(desk.size), cosigned.body)


def test_a_split_view_is_cosigned_on_one_side_only(desk: Desk) -> None:
    """Two histories with one beginning, shown in turns."""
    seen, hidden = Log(), Log("hidden")
    hidden.leaves = list(seen.up_to(6))
    desk.answer(seen.offer(0, 6))
    assert desk.answer(seen.offer(6, 9)).status == 200
    assert desk.answer(hidden.offer(6, 9)).size == 9
    assert desk.answer(hidden.offer(9, 9)).status == 409
    assert desk.answer(hidden.offer(9, 12)).status == 422


def test_what_can_not_be_kept_is_not_cosigned(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.answer(Log().offer(0, 5))

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("audit.ledger.witness.state.os.fsync", full)
    answer = desk.answer(Log().offer(5, 9))
    assert (answer.status, "\u2014" in answer.body) == (500, False)
    monkeypatch.undo()
    assert desk.size == 5
    assert desk.answer(Log().offer(5, 9)).status == 200


def test_the_state_never_goes_back_and_is_not_guessed(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    WitnessService(folder, [KEY.verifier]).answer(Log().offer(0, 5))
    with pytest.raises(FolderError, match="only goes on"):
        folder.keep(ORIGIN, Seen(4, b"\x00" * 32, ""))
    with pytest.raises(FolderError, match="Another witness runs"):
        Folder(tmp_path)
    folder.close()
    file, key = tmp_path / "state.json", tmp_path / "key"
    whole = file.read_text()
    for broken in ("", "{", "[]", "{}", whole.replace('"size": 5', '"size": 4'), whole[:-9]):
        file.write_text(broken)
        with pytest.raises(FolderError, match="put it back"):
            Folder(tmp_path)
    file.unlink()
    with pytest.raises(FolderError, match="forgot would sign anything"):
        Folder(tmp_path)
    file.write_text(whole)
    key.rename(tmp_path / "elsewhere")
    with pytest.raises(FolderError, match="put it back"):
        Folder(tmp_path)
    (tmp_path / "elsewhere").rename(key)
    again = Folder(tmp_path)
    assert again.seen(ORIGIN).size == 5
    again.close()


def test_key_and_state_are_for_this_user_alone(desk: Desk) -> None:
    desk.answer(Log().offer(0, 5))
    assert (desk.folder.path.stat().st_mode & 0o777) == 0o700
    for name in ("key", "state.json", "lock"):
        assert ((desk.folder.path / name).stat().st_mode & 0o777) == 0o600


BASE = Log()
OFFERS = [BASE.offer(0, 7), BASE.offer(7, 7), BASE.offer(7, 12), Log("hidden").offer(7, 12)]
CUT = st.tuples(st.integers(0, 600), st.integers(0, 40), st.binary(max_size=40))


@settings(max_examples=rounds(3000, 100), database=None)
@given(st.sampled_from(OFFERS), st.lists(CUT, max_size=4))
def test_whatever_is_sent_the_state_is_cosigned_or_unchanged(
    tmp_path_factory: pytest.TempPathFactory, offer: bytes, cuts: list[tuple[int, int, bytes]]
) -> None:
    """True offers with bytes cut out and put in; every answer is one of the protocol's."""
    folder = Folder(tmp_path_factory.mktemp("witness"))
    service = WitnessService(folder, [KEY.verifier])
    service.answer(OFFERS[0])
    body = offer
    for at, length, new in cuts:
        body = body[:at] + new + body[at + length :]
    answer = service.answer(body)
    folder.close()
    assert answer.status in {200, 400, 403, 404, 409, 422}
    after = json.loads((folder.path / "state.json").read_text())["logs"][ORIGIN]
    if answer.status != 200:
        assert (after["size"], "\u2014" in answer.body) == (7, False)
        return
    checkpoint = body.decode().partition("\n\n")[2]
    text = checkpoint.rpartition("\n\n")[0] + "\n"
    assert text in {BASE.body(7), BASE.body(12)}
    assert cosigned_at(folder.cosigner.verifier.text, text, answer.body)
    assert after["size"] == read_checkpoint(checkpoint).size


@settings(max_examples=rounds(20_000, 300), database=None)
@given(st.text(max_size=300))
def test_any_text_at_all_is_an_offer_or_an_error(text: str) -> None:
    with suppress(LedgerError):
        assert read_offer(text).text == text
