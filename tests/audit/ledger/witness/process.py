"""A real witness process, and what is asked of it over real HTTP."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlsplit

from audit.ledger.note import Verifier
from audit.ledger.witness.protocol import PATH, Answer
from tests.audit.ledger.witness.logs import KEY

ROOT = Path(__file__).parents[4]


@dataclass
class Running:
    """A witness process that has said where it listens."""

    process: subprocess.Popen[str]
    key: str
    url: str

    def connection(self) -> HTTPConnection:
        parts = urlsplit(self.url)
        return HTTPConnection(parts.hostname or "", parts.port or 0, timeout=20)

    def ask(self, body: bytes) -> Answer:
        return over(self.connection(), body)

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def stop(self) -> int:
        self.process.terminate()
        return self.process.wait(20)


def command(folder: Path, logs: Sequence[Verifier] = (KEY.verifier,), port: int = 0) -> list[str]:
    trusted = [part for key in logs for part in ("--log", key.text)]
    told = ["--folder", str(folder), "--port", str(port), *trusted]
    return [sys.executable, "-m", "audit.ledger", "witness", *told]


def start(folder: Path, logs: Sequence[Verifier] = (KEY.verifier,), port: int = 0) -> Running:
    process = subprocess.Popen(
        command(folder, logs, port), cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout
    key = url = ""
    for line in process.stdout:
        key = line.split(": ")[1].strip() if line.startswith("Witness key") else key
        if line.startswith("Listens at"):
            url = line.split(": ")[1].strip()
            break
    assert key, "the witness did not start"
    return Running(process, key, url)


def over(connection: HTTPConnection, body: bytes) -> Answer:
    """One request on a connection that stays open."""
    connection.request("POST", PATH, body)
    answer = connection.getresponse()
    return Answer(answer.status, answer.read().decode(), answer.headers["Content-Type"])
