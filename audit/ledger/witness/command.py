"""`python -m audit.ledger witness --folder FOLDER --log KEY [--log KEY …]`."""

from __future__ import annotations

import contextlib
import logging
import signal
import sys
from argparse import ArgumentParser, Namespace
from pathlib import Path
from types import FrameType

from audit.ledger.errors import LedgerError
from audit.ledger.note import Verifier
from audit.ledger.witness.server import WitnessServer
from audit.ledger.witness.service import WitnessService
from audit.ledger.witness.state import Folder, FolderError, read_state

PORT = 8091


def arguments(command: ArgumentParser) -> None:
    """What `witness` takes."""
    command.add_argument(
        "--folder", type=Path, required=True,
        help="its own folder: key and state, made at first start. Nobody else may write there",
    )  # fmt: skip
    command.add_argument(
        "--log", action="append", default=[], metavar="KEY",
        help="a signing key of a history to cosign for; both keys while one replaces the other",
    )  # fmt: skip
    command.add_argument("--host", default="127.0.0.1", help="address to listen on (loopback)")
    command.add_argument("--port", type=int, default=PORT, help=f"{PORT}; 0 takes a free one")
    command.add_argument("--name", default="", help="name of the key made at first start")
    command.add_argument(
        "--show", action="store_true",
        help="print what it cosigned last, for verify --since, and end",
    )  # fmt: skip


def run(chosen: Namespace) -> int:
    """Serve until a signal; 2 if it can't start."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s")
    try:
        return _show(chosen.folder) if chosen.show else _serve(chosen)
    except (FolderError, LedgerError, OSError) as error:
        print(f"The witness can't run: {error}", file=sys.stderr)
        return 2


def _show(folder: Path) -> int:
    for seen in read_state(folder).values():
        print(seen.note, end="")
    return 0


def _serve(chosen: Namespace) -> int:
    logs = [Verifier.read(text) for text in chosen.log]
    if not logs:
        raise LedgerError("--log", None, "the signing key of a history, one or more")
    folder = Folder(chosen.folder, chosen.name)
    with WitnessServer(chosen.host, chosen.port, WitnessService(folder, logs)) as server:
        print(f"Witness key: {folder.cosigner.verifier.text}")
        for key in logs:
            print(f"Cosigns for: {key.text}")
        print(f"Listens at:  {server.url}", flush=True)
        signal.signal(signal.SIGTERM, _stop)
        with contextlib.suppress(KeyboardInterrupt):
            server.serve_forever()
    folder.close()
    return 0


def _stop(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt
