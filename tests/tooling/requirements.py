"""Compile requirements*.txt from pyproject.toml (`make requirements`): server, tests, gateway.

The files name versions and hashes only: no registry address and no path of a machine.
"""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
COMPILE = [
    *(sys.executable, "-m", "uv", "pip", "compile", "--quiet"),
    # One file for every Python from 3.11 on and every platform, by markers.
    *("--universal", "--python-version", "3.11", "--generate-hashes"),
    *("--no-header", "--no-annotate", "--no-emit-index-url", "--no-emit-find-links"),
]


def main() -> None:
    """Write the files; what two of them name, they name in the same version."""
    own = ["pyproject.toml", "-o", "requirements.txt"]
    dev = ["pyproject.toml", "--extra", "dev", "-c", "requirements.txt"]
    box = ["--group", "gateway", "-c", "requirements-dev.txt"]
    for what in (
        own,
        [*dev, "-o", "requirements-dev.txt"],
        [*box, "-o", "requirements-gateway.txt"],
    ):
        subprocess.run([*COMPILE, *what, *sys.argv[1:]], cwd=ROOT, check=True)


if __name__ == "__main__":
    main()
