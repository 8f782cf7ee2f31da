"""The default run's own witness of the history: a process and a folder of its own.

It shows how a witness works, and finds a database that was changed. Whoever has this machine has it
too: one that is to be worth something runs elsewhere (docs/history-and-archives.md, Witnesses).
"""

import os
import re
import subprocess
import sys
import time

from embedded.folder import BASE_DIR
from embedded.host import CannotRunError, free_port, tail
from embedded.process import Child, Program
from embedded.stack import Stack

NAME = "witness"
SOON = 60.0  # seconds for it to say where it listens, also on a busy machine
SAID = re.compile(rb"^Witness key: (?P<key>\S+)$.*^Listens at: +(?P<url>\S+)$", re.M | re.S)


def start(stack: Stack) -> None:
    """Start it for the history of this stack, and tell every process of ours of it.

    Nothing is started where the environment names witnesses already. Raises CannotRunError.
    """
    if os.environ.get("LEDGER_WITNESSES"):
        return
    log = stack.folder.log(NAME)
    before = log.stat().st_size if log.exists() else 0
    child = stack.start(_program(stack, _signing_key(stack)))
    deadline = time.monotonic() + SOON
    while child.exit_code is None and time.monotonic() < deadline:
        if said := SAID.search(_since(child, before)):
            stack.env["LEDGER_WITNESSES"] = f"{said['key'].decode()} {said['url'].decode()}"
            return
        time.sleep(0.05)
    raise CannotRunError(f"The witness did not start; the end of its log:\n{tail(log)}")


def _signing_key(stack: Stack) -> str:
    """The public key of this history, made if there is none."""
    command = [sys.executable, str(BASE_DIR / "manage.py"), "ledger_key"]
    environment = {**os.environ, **stack.env}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    if done.returncode:
        raise CannotRunError(f"`ledger_key` failed:\n{done.stderr.strip()}")
    return done.stdout.strip()


def _program(stack: Stack, trusted: str) -> Program:
    # The same after it was started again: those who ask it know this one.
    port = str(free_port())
    told = ["--folder", str(stack.folder.path / NAME), "--port", port, "--log", trusted]
    command = [sys.executable, "-m", "audit.ledger", "witness", *told]
    return Program(NAME, command, cwd=BASE_DIR)


def _since(child: Child, before: int) -> bytes:
    """What it wrote in this run."""
    with child.log.open("rb") as log:
        log.seek(before)
        return log.read()
