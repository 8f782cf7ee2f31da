"""The folder of one gateway: its key, who it is, and what must not be lost."""

import fcntl
import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gateway import keys


class StateError(Exception):
    """The folder cannot be used as it is, in words for whoever started the program."""


@dataclass(frozen=True)
class State:
    """Names in the folder. Never copy it or put it back: its numbers are given once."""

    folder: Path

    @property
    def key(self) -> Path:
        """The private key."""
        return self.folder / "key.pem"

    @property
    def next_key(self) -> Path:
        """A key that is about to replace it."""
        return self.folder / "next_key.pem"

    @property
    def database(self) -> Path:
        """The outbox and everything beside it."""
        return self.folder / "gateway.db"

    @property
    def enrolment(self) -> Path:
        """Who this gateway is to the server."""
        return self.folder / "enrolled.json"

    def prepare(self) -> None:
        """Make the folder, for its owner alone."""
        self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)

    def enrolled(self) -> Mapping[str, Any]:
        """What the server answered to the enrolment, with its address. Raises StateError."""
        try:
            found = json.loads(self.enrolment.read_text())
        except (OSError, ValueError) as problem:
            raise StateError(f"{self.folder}: not enrolled ({problem})") from problem
        if not isinstance(found, dict):
            raise StateError(f"{self.enrolment} is no enrolment")
        return found

    def write_enrolment(self, answer: Mapping[str, Any]) -> None:
        """Keep who this gateway is: wholly or not at all."""
        beside = self.enrolment.with_suffix(".part")
        with beside.open("w") as file:
            json.dump(dict(answer), file, indent=1)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(self.enrolment)
        keys.sync_folder(self.folder)

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Nobody else runs on this folder; the kernel lets go of it whatever happens to us.

        Raises StateError.
        """
        if not self.folder.is_dir():
            raise StateError(f"{self.folder}: there is no such folder; enrol first")
        with (self.folder / "lock").open("w") as file:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                raise StateError(f"another gateway runs on {self.folder}") from None
            yield
