"""The witness as its owner runs it: a process without Django, real HTTP, killed at any moment."""

import random
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from http.client import HTTPException
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.witness.state import read_state
from tests.audit.ledger.witness.independent import cosigned_at
from tests.audit.ledger.witness.logs import KEY, ORIGIN, Log
from tests.audit.ledger.witness.process import ROOT, Running, command, over, start
from tests.services import rounds


@pytest.fixture
def witness(tmp_path: Path) -> Iterator[Running]:
    running = start(tmp_path / "witness")
    yield running
    running.kill()


def test_over_http_with_the_connection_kept(witness: Running, tmp_path: Path) -> None:
    log = Log(lines=["time 2026-11-28T12:00:00Z"])
    connection = witness.connection()
    first = over(connection, log.offer(0, 4))
    assert (first.status, first.kind) == (200, "text/plain; charset=utf-8")
    assert cosigned_at(witness.key, log.body(4), first.body)
    behind = over(connection, log.offer(0, 6))
    assert (behind.status, behind.kind, behind.body) == (409, "text/x.tlog.size", "4\n")
    assert over(connection, log.offer(4, 6)).status == 200
    assert witness.stop() == 0
    show = [*command(tmp_path / "witness"), "--show"]
    shown = subprocess.run(show, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert read_checkpoint(shown).size == 6
    assert cosigned_at(witness.key, log.body(6), shown.splitlines(keepends=True)[-1])


def test_it_runs_where_django_can_not_be_imported(tmp_path: Path) -> None:
    code = (
        "import sys, runpy\n"
        "for name in ('django', 'psycopg', 'celery', 'rfc8785'): sys.modules[name] = None\n"
        f"sys.argv = ['ledger', 'witness', '--folder', {str(tmp_path / 'w')!r}]\n"
        "runpy.run_module('audit.ledger', run_name='__main__')\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "the signing key of a history, one or more" in done.stderr


def test_two_of_one_folder_do_not_run(witness: Running, tmp_path: Path) -> None:
    again = subprocess.run(
        command(tmp_path / "witness"), cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert again.returncode == 2
    assert "Another witness runs" in again.stderr


@pytest.mark.parametrize(
    ("head", "status"),
    [
        (b"GET /add-checkpoint", b"404"),
        (b"POST /", b"404"),
        (b"POST /add-checkpoint", b"411"),
        (b"POST /add-checkpoint\r\nContent-Length: -1", b"411"),
        (b"POST /add-checkpoint\r\nContent-Length: 65537", b"413"),
        (b"POST /add-checkpoint\r\nContent-Length: 1" + b"0" * 99, b"413"),
        (b"POST /add-checkpoint\r\nContent-Length: 4\r\nTransfer-Encoding: chunked", b"411"),
        (b"DELETE /add-checkpoint", b"501"),
        (b"non sense", b"501"),
    ],
)
def test_what_is_no_request_of_the_protocol(witness: Running, head: bytes, status: bytes) -> None:
    first, _, rest = head.partition(b"\r\n")
    sent = first + b" HTTP/1.1\r\nHost: w\r\n" + rest + b"\r\n" * (2 if rest else 1)
    parts = urlsplit(witness.url)
    with socket.create_connection((parts.hostname, parts.port), timeout=20) as line:
        line.sendall(sent)
        line.shutdown(socket.SHUT_WR)
        answer = b"".join(iter(lambda: line.recv(4096), b""))
    assert status in answer.split(b"\r\n")[0]
    assert witness.ask(Log().offer(0, 2)).status == 200  # and goes on


def test_connections_that_say_nothing_do_not_shut_others_out(witness: Running) -> None:
    parts = urlsplit(witness.url)
    idle = [socket.create_connection((parts.hostname, parts.port)) for _ in range(20)]
    assert witness.ask(Log().offer(0, 2)).status == 200
    for line in idle:
        line.close()


def test_killed_at_any_moment_it_stands_where_it_last_answered(tmp_path: Path) -> None:
    """kill -9 at random points while two clients race; what was cosigned is never taken back."""
    log, folder, cosigned = Log(), tmp_path / "witness", 0
    log.up_to(4000)
    for _ in range(rounds(60, 6)):
        witness = start(folder)
        stands = read_state(folder).get(ORIGIN)
        assert (stands.size if stands else 0) >= cosigned
        answered: list[int] = []
        racing = [threading.Thread(target=_race, args=(witness, log, answered)) for _ in range(2)]
        for thread in racing:
            thread.start()
        time.sleep(random.uniform(0.01, 0.25))
        witness.kill()
        for thread in racing:
            thread.join()
        assert len(answered) == len(set(answered)), "two offers were cosigned from one state"
        cosigned = max([cosigned, *answered])
        after = read_state(folder).get(ORIGIN)
        assert (after.size if after else 0) >= cosigned
    assert cosigned, "nothing was cosigned before it was killed"
    witness = start(folder)
    hidden = Log("hidden").offer(0, cosigned)
    assert witness.ask(hidden).status == 409
    assert witness.stop() == 0


def _race(witness: Running, log: Log, answered: list[int]) -> None:
    """Offer growing states, each from where the witness says it stands, until it is gone."""
    old = size = 0
    try:
        connection = witness.connection()
        while True:
            answer = over(connection, log.offer(old, size := max(old + random.randint(1, 3), size)))
            if answer.status == 200:
                assert cosigned_at(witness.key, log.body(size), answer.body)
                answered.append(size)
                old = size
            else:
                assert answer.size is not None, answer
                old = answer.size
    except (OSError, HTTPException):
        return


def test_a_witness_keeps_its_key_and_name(tmp_path: Path) -> None:
    first = start(tmp_path / "w")
    first.kill()
    again = start(tmp_path / "w")
    again.kill()
    assert first.key == again.key
    assert first.key.startswith("portaledger-witness/")
    assert KEY.verifier.text not in first.key
