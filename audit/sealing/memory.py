"""What the signer signed last, in a file beside its key: what no database can talk it out of.

The file is written before a signature leaves the signer, so it is never behind what was signed. If
the database then rolls the batch back, the file still says which entries it held and on what they
stood: the same batch, to the byte, is all that may be signed next (audit.sealing.seal.finish).
"""

import fcntl
import json
import os
from base64 import b64decode, b64encode
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from itertools import chain
from pathlib import Path
from typing import Any

from audit.ledger.checkpoint import Checkpoint as State
from audit.ledger.checkpoint import read_body
from audit.ledger.files import write_whole
from audit.ledger.merkle import EMPTY_ROOT
from audit.ledger.stamp import runs_of
from audit.sealing.keys import SealingError, key_file

NOTHING = State("", 0, EMPTY_ROOT)


class UnkeptError(SealingError):
    """The file can't be read or written: nothing is signed meanwhile."""


@dataclass(frozen=True, slots=True)
class Batch:
    """What the last signature added: to which size and root, which entries in their order (none
    if it only signed anew), and the floor (transaction, id) once they are sealed."""

    size: int
    root: bytes
    entries: tuple[int, ...]
    floor: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Memory:
    """The last signed state, when, its batch if this signer made one, and why sealing stopped."""

    signed: State
    batch: Batch | None = None
    stopped: str = ""
    at: str = field(default_factory=lambda: datetime.now(UTC).isoformat(timespec="seconds"))


def state_file() -> Path:
    """Where it is kept."""
    return key_file().with_name(key_file().name + ".state")


@contextmanager
def signing_alone(*, wait: bool = False) -> Iterator[bool]:
    """Hold the file; False if another process of this machine has it and not to wait.

    The kernel lets go of it with the process. Raises SealingError if it can't be made.
    """
    try:
        key_file().parent.mkdir(parents=True, exist_ok=True)
        lock = key_file().with_name(key_file().name + ".lock")
        handle = os.open(lock, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    except OSError as error:
        raise UnkeptError(f"{key_file()}.lock can't be opened: {error}") from error
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        alone = True
    except BlockingIOError:
        alone = False
    try:
        yield alone
    finally:
        os.close(handle)


def recall() -> Memory | None:
    """What was signed last; None before the first signature. Raises SealingError."""
    try:
        return _read(json.loads(state_file().read_text("utf-8")))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise UnkeptError(
            f"{state_file()} can't be read: {error}. Put the file back, or begin from the newest "
            "checkpoint with `manage.py resume_sealing`."
        ) from error


def remember(memory: Memory) -> None:
    """Keep it; call holding the file. Raises SealingError if that would go back."""
    before = recall()
    if before and (memory.signed.size < before.signed.size or before.stopped):
        raise SealingError(f"{state_file()} only goes on: it stands at {before.signed.size:,}.")
    begin_anew(memory)


def mark_stopped(why: str) -> None:
    """Keep that sealing stopped; call holding the file."""
    begin_anew(replace(recall() or Memory(NOTHING), stopped=why))


def begin_anew(memory: Memory) -> None:
    """Keep it whatever was kept before: whole or not at all, readable by this user only."""
    file, text = state_file(), json.dumps(_written(memory)) + "\n"
    try:
        write_whole(file, [text.encode()])
    except OSError as error:
        raise UnkeptError(f"{file} can't be written: {error}") from error


def _written(memory: Memory) -> dict[str, Any]:
    state, batch = memory.signed, memory.batch
    return {
        "origin": state.origin,
        "size": state.size,
        "root": b64encode(state.root).decode(),
        **({"body": state.body} if state.origin else {}),
        "time": memory.at,
        "stopped": memory.stopped,
        "batch": batch
        and {
            "size": batch.size,
            "root": b64encode(batch.root).decode(),
            "entries": [[first, last - first + 1] for first, last in runs_of(batch.entries)],
            "floor": batch.floor,
        },
    }


def _read(kept: dict[str, Any]) -> Memory:
    state = State(str(kept["origin"]), int(kept["size"]), b64decode(kept["root"]))
    if "body" in kept:  # else it was kept before checkpoints said anything of time
        state = read_body(str(kept["body"]))
    batch = kept["batch"]
    made = batch and Batch(
        int(batch["size"]),
        b64decode(batch["root"]),
        _ids(batch["entries"]),
        (int(batch["floor"][0]), int(batch["floor"][1])),
    )
    return Memory(state, made, str(kept["stopped"]), str(kept["time"]))


def _ids(kept: list[Any]) -> tuple[int, ...]:
    """From runs [first, how many], a batch being few; or from ids, as older files have them."""
    runs = [one if isinstance(one, list) else [one, 1] for one in kept]
    return tuple(
        chain.from_iterable(range(int(first), int(first) + int(count)) for first, count in runs)
    )
