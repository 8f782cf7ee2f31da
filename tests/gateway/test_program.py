"""The program as it is run: enrolment, a day, a new key, an end."""

import json
import signal
import stat
from pathlib import Path
from unittest.mock import Mock

import pytest

from gateway import keys
from gateway.driver import Description, SilentError
from gateway.program import UNNAMED, named, require_safe
from gateway.state import State, StateError
from tests.gateway.boxes import Box, until
from tests.gateway.conftest import Machine
from tests.gateway.fake_server import Ledger, slot


@pytest.fixture
def box(tmp_path: Path, address: str) -> Box:
    made = Box(tmp_path, address)
    made.write_map(hours=0.5)
    return made


def test_a_box_enrols_once_loads_reports_and_stops_when_asked(box: Box, ledger: Ledger) -> None:
    ledger.slots = [slot(1), slot(2)]
    done = box.enrol()
    assert (done.returncode, done.stderr) == (0, "")
    assert "Enrolled at LIN" in done.stdout
    assert stat.S_IMODE(box.state.stat().st_mode) == 0o700
    again = box.enrol()
    assert again.returncode == 1
    assert "enrolled already" in again.stderr
    with box.running() as process:
        kinds = ("loaded", "read_back", "shot", "heartbeat")
        until(lambda: all(ledger.of(kind) for kind in kinds) and len(ledger.of("loaded")) == 2)
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=20) == 0
    assert ledger.through == max(ledger.events)
    assert ledger.of("heartbeat")[-1]["driver"].startswith("simulated ")


def test_a_wrong_code_enrols_nobody_and_the_next_one_does(box: Box) -> None:
    refused = box.enrol("another")
    assert (refused.returncode, box.state.joinpath("enrolled.json").exists()) == (1, False)
    assert "not enrolled" in refused.stderr
    assert box.enrol().returncode == 0


def test_two_gateways_do_not_run_on_one_folder(box: Box, ledger: Ledger) -> None:
    box.enrol()
    with box.running():
        until(lambda: bool(ledger.of("heartbeat")))
        told = ["--state", str(box.state), "--map", str(box.folder / "map.toml")]
        second = box.call("run", *told, "--driver", "simulated")
        assert second.returncode == 1
        assert "another gateway runs" in second.stderr


def test_a_revoked_gateway_ends_and_says_so(box: Box, ledger: Ledger) -> None:
    box.enrol()
    with box.running() as process:
        until(lambda: bool(ledger.of("heartbeat")))
        ledger.revoked = True
        assert process.wait(timeout=20) == 3


def test_a_key_is_rotated_while_the_old_one_is_good(box: Box, ledger: Ledger) -> None:
    box.enrol()
    before = keys.thumbprint(keys.read(State(box.state).key).public_key())
    done = box.call("rotate-key", "--state", str(box.state))
    assert done.returncode == 0, done.stderr
    after = keys.thumbprint(keys.read(State(box.state).key).public_key())
    assert before != after
    assert not State(box.state).next_key.exists()
    del ledger.keys[before]
    with box.running():
        until(lambda: bool(ledger.of("heartbeat")))


@pytest.mark.parametrize("known", [True, False])
def test_a_rotation_that_was_cut_off_ends_at_the_next_start(
    box: Box, ledger: Ledger, known: bool
) -> None:
    box.enrol()
    new = keys.make(State(box.state).next_key).public_key()
    if known:
        ledger.keys = {keys.thumbprint(new): new}
    with box.running():
        until(lambda: bool(ledger.of("heartbeat")))
    used = keys.thumbprint(keys.read(State(box.state).key).public_key())
    assert (used == keys.thumbprint(new)) is known


@pytest.mark.parametrize("made", [True, False])
def test_a_folder_that_is_not_enrolled_does_not_run(box: Box, made: bool) -> None:
    if made:
        box.state.mkdir()
    told = ["--state", str(box.state), "--map", str(box.folder / "map.toml")]
    done = box.call("run", *told, "--driver", "simulated")
    assert done.returncode == 1
    assert ("not enrolled" if made else "enrol first") in done.stderr
    assert "Traceback" not in done.stderr


def test_a_driver_that_is_not_there_is_said_in_words(box: Box) -> None:
    box.enrol()
    told = ["--state", str(box.state), "--map", str(box.folder / "map.toml")]
    done = box.call("run", *told, "--driver", "nobody.has:this")
    assert done.returncode == 1
    assert "nobody" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("url", "plain"),
    [
        ("https://ledger.example.org", False),
        ("http://127.0.0.1:8000", False),
        ("http://localhost:8000", False),
        ("http://web:8000", True),
    ],
)
def test_addresses_that_are_spoken_to(url: str, plain: bool) -> None:
    require_safe(url, plain=plain)


@pytest.mark.parametrize(
    "url", ["http://ledger.example.org", "http://192.0.2.1", "ftp://127.0.0.1"]
)
def test_answers_are_not_believed_without_tls(url: str) -> None:
    with pytest.raises(StateError, match="https"):
        require_safe(url, plain=False)


def test_a_driver_is_named_whatever_it_says_of_itself(machine: Machine) -> None:
    assert named(machine) == "test 1"
    told = Mock(side_effect=[Description("n" * 80, "1", []), SilentError("gone"), TypeError()])
    machine.describe = told  # type: ignore[method-assign]
    assert [named(machine) for _ in range(3)] == ["n" * 60, UNNAMED, UNNAMED]


def test_an_enrolment_is_kept_wholly(tmp_path: Path) -> None:
    state = State(tmp_path)
    state.write_enrolment({"source": "urn:x"})
    assert state.enrolled() == {"source": "urn:x"}
    state.enrolment.write_text(json.dumps([]))
    with pytest.raises(StateError):
        state.enrolled()
