"""Witnesses that answer over real HTTP, and a history they are to see."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from secrets import token_hex
from threading import Thread

import pytest
from pytest_django import Settings

from audit.ledger.note import Verifier
from audit.ledger.witness.known import KnownWitness
from audit.ledger.witness.server import WitnessServer
from audit.ledger.witness.service import WitnessService
from audit.ledger.witness.state import Folder
from audit.sealing.keys import origin, verifiers
from audit.sealing.seal import seal
from tests.audit.sealed import shelves


@dataclass
class Witness:
    """One that runs in a thread of the test."""

    folder: Folder
    server: WitnessServer
    known: KnownWitness

    @property
    def size(self) -> int:
        return self.folder.seen(origin()).size

    running: bool = True

    def stop(self) -> None:
        if not self.running:
            return
        self.running = False
        self.server.shutdown()
        self.server.server_close()
        self.folder.close()


Starter = Callable[..., Witness]


@pytest.fixture
def start_witness(tmp_path: Path, settings: Settings) -> Iterator[Starter]:
    """Starts one and lets the history know it; the history has to be sealed already."""
    running = list[Witness]()
    settings.LEDGER_WITNESSES, settings.LEDGER_WITNESSES_NEEDED = [], 0

    def start(name: str = "laptop.example", *, logs: list[Verifier] | None = None) -> Witness:
        folder = Folder(tmp_path / name, name)
        service = WitnessService(folder, verifiers() if logs is None else logs)
        server = WitnessServer("127.0.0.1", 0, service)
        Thread(target=server.serve_forever, args=(0.02,), daemon=True).start()
        made = Witness(folder, server, KnownWitness(folder.cosigner.verifier, server.url))
        running.append(made)
        settings.LEDGER_WITNESSES = [*settings.LEDGER_WITNESSES, made.known]
        settings.LEDGER_WITNESSES_NEEDED = len(settings.LEDGER_WITNESSES)
        return made

    yield start
    for one in running:
        one.stop()


@pytest.fixture(autouse=True)
def offered_at_once(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """No pause after a failure, and no other test's offering in the way."""
    monkeypatch.setattr("audit.witnessing.offering.PAUSE", 0)
    caches = settings.CACHES
    settings.CACHES = {**caches, "quick": {**caches["quick"], "KEY_PREFIX": token_hex(8)}}


def history(*sizes: int) -> None:
    """So many entries, sealed batch by batch."""
    for size in sizes:
        shelves(size)
        sealed()


def sealed() -> None:
    """All that waits is sealed."""
    while seal():
        pass
