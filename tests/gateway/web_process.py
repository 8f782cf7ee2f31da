"""The product's web server as a process of its own, on the test's database, to be killed."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.request import urlopen

from embedded.process import die_with_parent
from tests.gateway.boxes import until
from tests.recipes.kill.worker import broker_url, database_url
from tests.tooling.listing import ROOT

SERVE = ["granian", "--interface", "wsgi", "--blocking-threads", "4", "config.wsgi:application"]


@dataclass
class Web:
    """A server at one address, however often it is killed."""

    log: Path
    port: int
    process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        """Where it is."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it, unless it runs; returns once it answers."""
        if self.process is None:
            env = {**os.environ, "PORTALEDGER_MODE": "test", "DATABASE_URL": database_url()}
            env |= {"REDIS_URL": broker_url(), "ALLOWED_HOSTS": "127.0.0.1"}
            listen = ["--host", "127.0.0.1", "--port", str(self.port), "--no-ws"]
            with self.log.open("ab") as file:
                self.process = subprocess.Popen(
                    [sys.executable, "-m", *SERVE, *listen],
                    cwd=ROOT,
                    env=env,
                    stdout=file,
                    stderr=file,
                    start_new_session=True,
                    preexec_fn=die_with_parent,  # noqa: PLW1509 - no threads of ours yet
                )
        until(self.answers, seconds=120)

    def answers(self) -> bool:
        """Whether it serves what needs no signature."""
        path = "/api/v1/gateway/schemas/portaledger.shot.v1.json"
        try:
            with urlopen(self.address + path, timeout=5) as answer:
                return bool(answer.status == 200)
        except OSError:
            return False

    def kill(self) -> None:
        """SIGKILL for all its processes: no request is ended, nothing tidied up."""
        if self.process:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None


@contextmanager
def web(log: Path) -> Iterator[Web]:
    """A server that runs."""
    with socket.create_server(("127.0.0.1", 0)) as found:
        port = int(found.getsockname()[1])
    made = Web(log, port)
    try:
        made.start()
        yield made
    finally:
        made.kill()
