"""The default run's witness: a process of its own, its memory kept from run to run."""

from contextlib import ExitStack
from urllib.parse import urlsplit

import pytest

from audit.ledger.witness.known import KnownWitness
from audit.ledger.witness.state import read_state
from audit.witnessing.asking import SilentError, ask
from embedded import witness
from embedded.folder import Folder
from embedded.host import CannotRunError
from embedded.stack import Stack
from tests.audit.ledger.witness.logs import KEY, ORIGIN, Log


@pytest.fixture
def signing_key(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("LEDGER_WITNESSES", raising=False)
    monkeypatch.setattr(witness, "_signing_key", lambda stack: KEY.verifier.text)


@pytest.mark.usefixtures("signing_key")
def test_it_has_a_folder_of_its_own_and_goes_on_in_the_next_run(folder: Folder) -> None:
    told = list[str]()
    for old, size in ((0, 4), (4, 9)):
        with ExitStack() as exits:
            stack = Stack(folder, {}, exits)
            witness.start(stack)
            known = KnownWitness.read(stack.env["LEDGER_WITNESSES"])
            told.append(known.key.text)
            assert urlsplit(known.url).hostname == "127.0.0.1"
            assert ask(known.url, Log().offer(old, size)).status == 200
            stack.require_alive()
        with pytest.raises(SilentError):
            ask(known.url, b"")
    assert told[0] == told[1]
    assert read_state(folder.path / "witness")[ORIGIN].size == 9
    folder.clear()
    assert not (folder.path / "witness").exists()


@pytest.mark.usefixtures("signing_key")
def test_one_that_can_not_start_says_why(folder: Folder) -> None:
    place = folder.path / "witness"
    place.mkdir()
    (place / "key").write_text("nonsense")
    with ExitStack() as exits, pytest.raises(CannotRunError, match="can't be read as a witness"):
        witness.start(Stack(folder, {}, exits))


def test_witnesses_of_the_environment_are_taken_as_they_are(
    folder: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LEDGER_WITNESSES", "of somebody else")
    with ExitStack() as exits:
        stack = Stack(folder, {}, exits)
        witness.start(stack)
        assert (stack.children, stack.env) == ([], {})
