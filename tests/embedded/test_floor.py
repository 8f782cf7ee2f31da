"""The demo's simulated bar: enrolled once, run again when it ends, left alone once revoked."""

import subprocess
import time
from pathlib import Path

import pytest

from embedded import floor
from embedded.folder import Folder
from embedded.stack import servers

ADDRESS = "http://127.0.0.1:9"


class EndError(Exception):
    """Where a test leaves what never returns."""


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What the gateway was told to do; it ends as soon as it runs."""
    done: list[str] = []

    def gateway(*words: str) -> int:
        done.append(words[0])
        return 0 if words[0] == "enrol" else floor.REVOKED

    def sleep(seconds: float) -> None:
        raise EndError(seconds)

    monkeypatch.setattr(floor, "gateway", gateway)
    monkeypatch.setattr("embedded.floor.subprocess.run", _made)
    monkeypatch.setattr("embedded.floor.time.sleep", sleep)
    monkeypatch.setattr(floor, "die_with_parent", lambda: None)
    return done


def _made(command: list[str], **_: object) -> subprocess.CompletedProcess[str]:
    return subprocess.CompletedProcess(command, 0, stdout="CODE\n")


def test_it_enrols_then_runs_and_a_revoked_one_stays_ended(tmp_path: Path, told: list[str]) -> None:
    with pytest.raises(EndError, match="3600"):
        floor.main(tmp_path, ADDRESS)
    assert told == ["enrol", "run"]


def test_one_that_is_enrolled_is_not_again(tmp_path: Path, told: list[str]) -> None:
    (tmp_path / "gateway").mkdir()
    (tmp_path / "gateway" / "enrolled.json").write_text("{}")
    with pytest.raises(EndError):
        floor.main(tmp_path, ADDRESS)
    assert told == ["run"]


def test_it_is_turned_off_by_a_word(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    with servers(folder, mode="test", careless=True) as stack:
        before = len(stack.children)
        monkeypatch.setenv("FLOOR", "0")
        floor.start(stack, ADDRESS)
        assert len(stack.children) == before
        monkeypatch.delenv("FLOOR")
        floor.start(stack, ADDRESS)
        (child,) = stack.children[before:]
        time.sleep(0.5)
        assert child.exit_code is None, "nothing answers, and it goes on trying"
        assert (stack.folder.path / "floor").is_dir()
