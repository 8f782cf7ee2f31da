"""The demo's floor that moves: a simulated bar behind the reference gateway, as a process.

It makes the bar of one site, enrols its gateway once, and keeps it running. A gateway that somebody
revokes in the demo stays ended; this goes on, for nothing else may end by it. FLOOR=0 turns it off.
"""

import os
import subprocess
import sys
import time
from pathlib import Path

from embedded.folder import BASE_DIR
from embedded.process import Program, die_with_parent
from embedded.stack import Stack

NAME = "floor"
SITE = "brickworks"  # no scene of the demo's story plays there
AGAIN = 5.0  # seconds before what ended is begun again
REVOKED = 3  # the gateway's exit code


def start(stack: Stack, address: str) -> None:
    """Start it for the server at this address, unless it is turned off."""
    if os.environ.get("FLOOR") == "0":
        return
    folder = stack.folder.path / NAME
    folder.mkdir(exist_ok=True)
    command = [sys.executable, "-m", "embedded.floor", str(folder), address]
    stack.start(Program(NAME, command, env=stack.env, cwd=BASE_DIR))


def main(folder: Path, address: str) -> None:
    """Keep the gateway running; never returns."""
    die_with_parent()
    where = ["--state", str(folder / "gateway")]
    what = ["--driver", "simulated", "--map", str(folder / "map.toml")]
    while True:
        if (folder / "gateway" / "enrolled.json").exists() or enrolled(folder, address):
            code = gateway("run", *where, *what, "--server", address)
            while code == REVOKED:
                time.sleep(3600)
        time.sleep(AGAIN)


def enrolled(folder: Path, address: str) -> bool:
    """Make the bar and enrol its gateway; whether that worked."""
    make = [sys.executable, "manage.py", "demo_floor", SITE, str(folder / "map.toml")]
    made = subprocess.run(make, cwd=BASE_DIR, stdout=subprocess.PIPE, text=True, check=False)
    if made.returncode:
        return False
    code = made.stdout.strip()
    told = ["--server", address, "--code", code, "--state", str(folder / "gateway")]
    return gateway("enrol", *told, "--name", SITE, "--driver", "simulated") == 0


def gateway(*told: str) -> int:
    """Run the reference gateway to its end; its exit code."""
    command = [sys.executable, "-m", "gateway", *told]
    return subprocess.run(command, cwd=BASE_DIR, check=False, preexec_fn=die_with_parent).returncode


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
