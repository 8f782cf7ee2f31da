"""Runs that meet each other, a taken port, or a sudden end."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil
import psycopg
import pytest
import redis

from embedded.folder import Folder
from embedded.host import CannotRunError, require_alone, require_free
from embedded.process import Child, Program, stop_leftovers
from embedded.stack import Stack, servers
from tests.tooling.listing import ROOT

SERVICES = [sys.executable, "-m", "embedded"]


def demo(data: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*SERVICES, "demo", *arguments],
        cwd=ROOT,
        env={**os.environ, "PORTALEDGER_DATA": str(data)},
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )


def test_a_second_run_is_told_of_the_first(folder: Folder) -> None:
    done = demo(folder.path)
    assert done.returncode == 1
    assert f"already runs from {folder.path} (process {os.getpid()}" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_a_taken_port_is_named_with_the_way_out(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        done = demo(tmp_path / "data", "--port", str(port))
    assert done.returncode == 1
    assert f"Port {port} on 127.0.0.1 is in use" in done.stderr
    assert f"make demo PORT={port + 1}" in done.stderr
    assert not (tmp_path / "data" / "database").exists(), "found out before anything is started"


def test_a_folder_that_cannot_be_written_to_is_named_with_the_way_out(tmp_path: Path) -> None:
    (tmp_path / "data" / "lock").mkdir(parents=True)  # as root everything else can be written to
    done = demo(tmp_path / "data")
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert f"{tmp_path / 'data' / 'lock'} cannot be used" in done.stderr
    assert "PORTALEDGER_DATA" in done.stderr


@contextmanager
def lent(folder: Folder) -> Iterator[subprocess.Popen[str]]:
    """A run of its own that has started both servers, and the ids of its processes."""
    process = subprocess.Popen(
        [*SERVICES, "lend", "sh", "-c", "echo ready; exec sleep 60"],
        cwd=ROOT,
        env={**os.environ, "TMPDIR": str(folder.path)},
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout
        while process.stdout.readline().strip() != "ready":
            assert process.poll() is None
        yield process
    finally:
        process.kill()
        process.wait()


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel's help is Linux only")
@pytest.mark.parametrize("ending", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_whatever_ends_a_run_ends_its_servers(folder: Folder, ending: signal.Signals) -> None:
    with lent(folder) as run:
        started = psutil.Process(run.pid).children(recursive=True)
        assert {"postgres", "valkey-server"} <= {process.name() for process in started}
        run.send_signal(ending)
        run.wait(20)
        _, alive = psutil.wait_procs(started, timeout=20)
    lasting = [process for process in alive if process.status() != psutil.STATUS_ZOMBIE]
    assert lasting == []


def test_a_process_that_dies_is_reported_and_not_replaced(folder: Folder) -> None:
    with servers(folder, mode="test", careless=True) as stack:
        stack.require_alive()
        (broker,) = (child for child in stack.children if child.program.name == "broker")
        os.kill(broker.pid, signal.SIGKILL)
        deadline = time.monotonic() + 5
        while broker.exit_code is None and time.monotonic() < deadline:
            time.sleep(0.01)
        with pytest.raises(CannotRunError, match=re.escape("The broker process ended by itself")):
            stack.require_alive()


def test_what_dies_is_started_again_and_said(
    folder: Folder, capsys: pytest.CaptureFixture[str]
) -> None:
    """As the demo does: the database, the broker, and whatever leans on them."""
    with servers(folder, mode="test", careless=True) as stack:
        stack.start(Program("sleeper", ["sleep", "60"]))
        before = {child.program.name: child.pid for child in stack.children}
        for pid in before.values():
            os.kill(pid, signal.SIGKILL)
        while any(child.exit_code is None for child in stack.children):
            time.sleep(0.01)
        stack.revive()
        told = capsys.readouterr().out
        for name in before:
            assert f"The {name} process ended by itself (code -9): started again." in told
        address = stack.env["DATABASE_URL"]
        deadline = time.monotonic() + 20
        while not _answers(address):
            stack.revive()
            assert time.monotonic() < deadline
            time.sleep(0.1)
        assert redis.Redis.from_url(stack.env["REDIS_URL"]).ping()
        assert {child.pid for child in stack.children}.isdisjoint(before.values())
        assert len(stack.processes()) >= len(before)


def _answers(address: str) -> bool:
    try:
        psycopg.connect(address).close()
    except psycopg.OperationalError:
        return False
    return True


def revive_for_ever(stack: Stack) -> None:
    while True:
        stack.revive()
        time.sleep(0.02)


def test_what_dies_again_and_again_ends_the_run(folder: Folder) -> None:
    with servers(folder, mode="test", careless=True) as stack:
        stack.start(Program("broken", ["false"]))
        with pytest.raises(CannotRunError, match=re.escape("The broken process ended by itself")):
            revive_for_ever(stack)


@pytest.mark.parametrize("address", ["127.0.0.1", "::1"])
def test_a_port_that_is_shared_without_a_word_is_found_out(address: str) -> None:
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.create_server((address, 0), family=family, reuse_port=True) as other:
        port = other.getsockname()[1]
        with pytest.raises(CannotRunError, match=f"Port {port} on 127.0.0.1 is in use"):
            require_free(port)
        require_alone(port, {os.getpid()})
        with pytest.raises(CannotRunError, match=f"make demo PORT={port + 1}"):
            require_alone(port, {1})


def test_an_id_given_to_another_program_since_is_left_alone(folder: Folder) -> None:
    child = Child(Program("sleeper", ["sleep", "60"]), folder)
    try:
        record = folder.path / "pids" / "sleeper"
        record.write_text(f'{{"pid": {child.pid}, "started": 1}}')
        stop_leftovers(folder)
        assert child.exit_code is None
    finally:
        child.stop()


def test_starting_over_removes_only_what_a_run_made(folder: Folder) -> None:
    mine = folder.path / "notes.txt"
    mine.write_text("mine")
    key = folder.secret_key()
    assert (folder.path / "secret_key").stat().st_mode & 0o777 == 0o600
    folder.clear()
    assert mine.read_text() == "mine"
    assert folder.secret_key() != key
