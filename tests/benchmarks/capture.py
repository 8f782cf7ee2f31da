"""An audited update, beside the peers and the bare statements: one save, and many rows at once."""

import json
import os
import subprocess
import sys
from typing import Any

from tests.benchmarks.table import Measurement

OURS, PLAIN, LIMIT = "our capture", "plain save", "limit"


def rows() -> list[Measurement]:
    """Measured in a process of its own, since the peers need settings of their own."""
    name = os.environ.get("TEST_DB_NAME") or "bench"
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.peers"],
        env={**os.environ, "TEST_DB_NAME": f"{name}_peers"},
        stdout=subprocess.PIPE,
        check=True,
        text=True,
    )
    return lines_of(json.loads(done.stdout.strip().splitlines()[-1]))


def lines_of(measured: dict[str, Any]) -> list[Measurement]:
    """One save against a plain one; many rows against the bare statements; peers beside both."""
    saves: dict[str, float] = measured["saves"]
    bulk: dict[str, float] = {name: told["seconds"] for name, told in measured["bulk"].items()}
    return [
        _line("audited save of one row, against a plain save", saves, PLAIN, "saves/s"),
        _line("audited update of 20,000 rows", bulk, LIMIT, "rows/s"),
    ]


def _line(name: str, seconds: dict[str, float], limit: str, unit: str) -> Measurement:
    ours = seconds[OURS]
    peers = {peer: ours / time for peer, time in seconds.items() if peer not in {OURS, limit}}
    return Measurement(name, 1 / ours, unit, ours / seconds[limit], peers)
