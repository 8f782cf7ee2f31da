"""One process of ours: started with a log, recorded, stopped with all it started."""

import contextlib
import ctypes
import json
import os
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import psutil

from embedded.folder import Folder
from embedded.host import Account, credentials, say

PR_SET_PDEATHSIG = 1
_libc = ctypes.CDLL(None) if sys.platform == "linux" else None


def die_with_parent() -> None:
    """Ask the kernel for SIGTERM when the parent ends, however it ends (Linux only)."""
    if _libc is not None:
        _libc.prctl(PR_SET_PDEATHSIG, signal.SIGTERM)


@dataclass(frozen=True)
class Program:
    """What to run: its name in logs and messages, the command, and how it is stopped."""

    name: str
    command: Sequence[str]
    env: Mapping[str, str] = field(default_factory=dict)
    account: Account | None = None
    stop_signal: signal.Signals = signal.SIGTERM
    stop_seconds: float = 20
    cwd: Path | None = None


class Child:
    """A running program of ours, leader of its own process group."""

    def __init__(self, program: Program, folder: Folder) -> None:
        """Start it, its output appended to its log."""
        self.program = program
        self.log = folder.log(program.name)
        self._record = folder.path / "pids" / program.name
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                list(program.command),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                env={**os.environ, **program.env},
                cwd=program.cwd,
                # A group of its own: Ctrl-C reaches us alone, and we stop them in order.
                process_group=0,
                preexec_fn=die_with_parent,  # noqa: PLW1509 - we start no threads
                **credentials(program.account),
            )
        self._write_record()

    @property
    def pid(self) -> int:
        """Its process id."""
        return self._process.pid

    @property
    def exit_code(self) -> int | None:
        """None while it runs."""
        return self._process.poll()

    def stop(self) -> None:
        """Ask it to end, wait, then end whatever is left of its group."""
        if self.exit_code is None:
            self._process.send_signal(self.program.stop_signal)
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._process.wait(self.program.stop_seconds)
        end_group(self.pid)
        self._process.wait()
        self._record.unlink(missing_ok=True)

    def _write_record(self) -> None:
        self._record.parent.mkdir(exist_ok=True)
        with contextlib.suppress(psutil.NoSuchProcess):
            started = psutil.Process(self.pid).create_time()
            self._record.write_text(json.dumps({"pid": self.pid, "started": started}))


def end_group(leader: int) -> None:
    """Kill what is left of a process group that we made."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(leader, signal.SIGKILL)


def stop_leftovers(folder: Folder) -> None:
    """Stop what an earlier run of this folder left behind when it was killed.

    A process counts only if it has the recorded id and the recorded start: an id given to
    another program since then is left alone. Call with the folder's lock held.
    """
    for record in sorted((folder.path / "pids").glob("*")):
        process = _recorded(record)
        if process is not None:
            say(f"Stopping {record.name} (process {process.pid}), left by an interrupted run.")
            # SIGINT is PostgreSQL's prompt shutdown, and ends the others in an orderly way too.
            process.send_signal(signal.SIGINT)
            with contextlib.suppress(psutil.TimeoutExpired):
                process.wait(15)
            end_group(process.pid)
        record.unlink()


def _recorded(record: Path) -> psutil.Process | None:
    try:
        kept = json.loads(record.read_text())
        process = psutil.Process(kept["pid"])
        same = abs(process.create_time() - kept["started"]) < 1
    except (ValueError, KeyError, psutil.NoSuchProcess):
        return None
    return process if same and process.status() != psutil.STATUS_ZOMBIE else None
