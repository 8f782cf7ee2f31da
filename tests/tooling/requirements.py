"""Compile requirements.txt and requirements-dev.txt from pyproject.toml (`make requirements`).

The files name versions and hashes only: no registry address and no path of a machine.
"""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
COMPILE = [
    *(sys.executable, "-m", "uv", "pip", "compile", "--quiet", "pyproject.toml"),
    # One file for every Python from 3.11 on and every platform, by markers.
    *("--universal", "--python-version", "3.11", "--generate-hashes"),
    *("--no-header", "--no-annotate", "--no-emit-index-url", "--no-emit-find-links"),
]


def main() -> None:
    """Write both files; what both name, they name in the same version."""
    upgrade = sys.argv[1:]
    subprocess.run([*COMPILE, "-o", "requirements.txt", *upgrade], cwd=ROOT, check=True)
    both = ["--extra", "dev", "-c", "requirements.txt", "-o", "requirements-dev.txt"]
    subprocess.run([*COMPILE, *both, *upgrade], cwd=ROOT, check=True)


if __name__ == "__main__":
    main()
