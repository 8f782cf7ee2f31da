"""A witness's folder: its key, and one file of what it cosigned last. It only ever goes on.

The file is written whole, on the disk, before a cosignature leaves the witness: a witness killed at
any moment stands where it last answered, or further. One process has the folder at a time.
"""

from __future__ import annotations

import fcntl
import json
import os
import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.errors import LedgerError
from audit.ledger.files import write_whole
from audit.ledger.merkle import EMPTY_ROOT
from audit.ledger.witness.cosignature import Cosigner

FORMAT = "portaledger-witness-1"


class FolderError(Exception):
    """The folder can't be used; the message says why and what to do."""


@dataclass(frozen=True)
class Seen:
    """The last state cosigned of one history: entries, root, and the note with the cosignature."""

    size: int = 0
    root: bytes = EMPTY_ROOT
    note: str = ""


class Folder:
    """The folder of one witness, held while this object lives. Raises FolderError.

    `name` is for the key made at first start; a witness keeps the name it has.
    """

    def __init__(self, path: Path, name: str = "") -> None:
        self.path = path
        self._lock = _locked(path)
        try:
            self.cosigner = self._cosigner(name)
            self._seen = read_state(path)
        except FolderError:
            self.close()
            raise

    def close(self) -> None:
        """Let go of the folder; the end of the process does too."""
        os.close(self._lock)

    def seen(self, origin: str) -> Seen:
        """What was cosigned last of that history; of a new one, nothing."""
        return self._seen.get(origin, Seen())

    def keep(self, origin: str, seen: Seen) -> None:
        """Put it on the disk. Raises FolderError, and then nothing changed, if that fails or would
        go back."""
        before = self.seen(origin)
        if seen.size < before.size or (seen.size == before.size and seen.root != before.root):
            raise FolderError(f"{origin}: the state only goes on from {before.size} entries.")
        after = {**self._seen, origin: seen}
        _write(self.path / "state.json", _written(after))
        self._seen = after

    def keep_refused(self, note: str) -> None:
        """Keep the first signed note of another tree: it is evidence, and a disk is bounded."""
        file = self.path / "refused.txt"
        if not file.exists():
            _write(file, note)

    def _cosigner(self, name: str) -> Cosigner:
        file = self.path / "key"
        if file.exists():
            return _read_key(file)
        if not (self.path / "state.json").exists():
            # First, so that a key without a state can only mean that the state was taken away.
            _write(self.path / "state.json", _written({}))
        elif read_state(self.path):
            raise FolderError(f"{file} is gone: put it back, or begin anew in another folder.")
        made = _new_key(name or f"portaledger-witness/{secrets.token_hex(8)}")
        _write(file, made.secret_text + "\n")
        return made


def _locked(path: Path) -> int:
    """A handle that holds the folder's lock; the kernel drops it with the process."""
    try:
        path.mkdir(parents=True, exist_ok=True, mode=0o700)
        lock = os.open(path / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    except OSError as error:
        raise FolderError(f"{path} can't be used: {error}") from error
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(lock)
        raise FolderError(f"Another witness runs from {path}.") from None
    return lock


def read_state(path: Path) -> dict[str, Seen]:
    """What the witness of that folder cosigned last, by origin. Raises FolderError."""
    file = path / "state.json"
    try:
        kept = json.loads(file.read_text("utf-8"))
        if kept["format"] != FORMAT:
            raise LedgerError("format", kept["format"], FORMAT)
        return {str(origin): _read_seen(origin, one) for origin, one in kept["logs"].items()}
    except FileNotFoundError:
        why = "is gone. A witness that forgot would sign anything"
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        why = f"can't be read: {error}. A witness that guessed would sign anything"
    raise FolderError(f"{file} {why}: put it back, or begin anew in another folder.")


def _write(file: Path, text: str) -> None:
    try:
        write_whole(file, [text.encode()])
    except OSError as error:
        raise FolderError(f"{file} can't be written: {error}") from error


def _read_seen(origin: str, kept: dict[str, Any]) -> Seen:
    """The note says it all; a size beside it is for people who look into the file."""
    state = read_checkpoint(str(kept["note"]))
    if (state.origin, state.size) != (origin, kept["size"]):
        raise LedgerError("state", origin, "a note of this history and size")
    return Seen(state.size, state.root, str(kept["note"]))


def _written(seen: dict[str, Seen]) -> str:
    logs = {origin: {"size": one.size, "note": one.note} for origin, one in seen.items()}
    return json.dumps({"format": FORMAT, "logs": logs}, indent=1, ensure_ascii=False) + "\n"


def _read_key(file: Path) -> Cosigner:
    try:
        return Cosigner.read(file.read_text("utf-8").strip())
    except (OSError, ValueError) as error:
        raise FolderError(f"{file} can't be read as a witness's key: {error}") from error


def _new_key(name: str) -> Cosigner:
    try:
        return Cosigner.new(name)
    except LedgerError as error:
        raise FolderError(str(error)) from error
