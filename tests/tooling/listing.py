"""The files of the checkout that are ours: committed ones and new ones, not ignored ones."""

import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def our_files(*patterns: str) -> list[Path]:
    """Paths that exist and match one of git's patterns; all of them without a pattern."""
    listed = subprocess.run(
        [
            "git",
            "-c",
            "safe.directory=*",
            "ls-files",
            "-z",
            "--cached",
            "--others",
            "--exclude-standard",
            "--",
            *patterns,
        ],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    return [path for name in listed.split("\0") if name and (path := ROOT / name).is_file()]
