"""A gateway as it runs: a process of its own, on a folder of its own."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.tooling.listing import ROOT

MAP = """
seed = {seed}
speed = {speed}
orders_per_hour = {rate}
hours_behind = {hours}
habits = {{ {habits} }}

[[station]]
machine = "{machine}"
number = 1
slots = [{slots}]
{more}
is = {{ probe_offset = -0.8, pulses_per_ml = 2.05 }}
"""
# What a process of ours needs of the environment: none of the server's settings.
PLAIN = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}


@dataclass
class Box:
    """A folder with a map, and the gateway that runs on it."""

    folder: Path
    server: str

    @property
    def state(self) -> Path:
        """The gateway's own folder."""
        return self.folder / "state"

    def write_map(self, *, hours: float = 0.0, **others: object) -> None:
        """A simulated bar; ``hours`` of shots are behind it and come at once."""
        values = {"seed": 7, "speed": 36000, "rate": 60, "habits": "", "more": "", "machine": "M1"}
        values |= {"slots": "1, 2", **others}
        (self.folder / "map.toml").write_text(MAP.format(hours=hours, **values))

    def enrol(self, code: str = "the-code") -> subprocess.CompletedProcess[str]:
        """Enrol, with the simulated driver."""
        told = ["--server", self.server, "--code", code, "--state", str(self.state)]
        return self.call("enrol", *told, "--driver", "simulated")

    def call(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run the program to its end."""
        command = [sys.executable, "-m", "gateway", *arguments]
        return subprocess.run(
            command, cwd=ROOT, env=PLAIN, capture_output=True, text=True, timeout=60, check=False
        )

    @contextmanager
    def running(
        self, *, driver: str = "simulated", faster: float = 50.0
    ) -> Iterator[subprocess.Popen[bytes]]:
        """It runs; at the end it is killed, as by a power cut."""
        told = ["--state", str(self.state), "--map", str(self.folder / "map.toml")]
        command = [sys.executable, "-m", "gateway", "run", *told, "--driver", driver]
        with (self.folder / "log").open("ab") as log:
            process = subprocess.Popen(
                [*command, "--faster", str(faster)], cwd=ROOT, env=PLAIN, stderr=log
            )
        try:
            yield process
        finally:
            if process.poll() is None:
                os.kill(process.pid, signal.SIGKILL)
            process.wait()


def until(met: Callable[[], bool], seconds: float = 60.0) -> None:
    """Wait for something; AssertionError where it does not come."""
    deadline = time.monotonic() + seconds
    while not met():
        assert time.monotonic() < deadline, "it did not come"
        time.sleep(0.05)
