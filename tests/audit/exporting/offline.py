"""The offline check as its reader runs it: the ledger's folder alone, no Django, no database."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

from config.settings.base import BASE_DIR

# Whatever is asked for beyond the standard library and the signatures' package ends the run.
ALONE = """
import runpy, sys
class Alone:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in {"django", "psycopg", "celery", "rest_framework", "config"}:
            raise SystemExit(f"wanted {name}")
sys.meta_path.insert(0, Alone())
sys.argv = ["audit.ledger", *sys.argv[1:]]
runpy.run_module("audit.ledger", run_name="__main__", alter_sys=True)
"""


def offline(folder: Path, exported: bytes, kept: str, *archives: Path) -> tuple[int, str]:
    """Exit code and words of `verify --since` on an exported bundle, and on archives."""
    place = folder / "audit"
    if not place.exists():
        shutil.copytree(BASE_DIR / "audit" / "ledger", place / "ledger")
        (place / "__init__.py").touch()
    (folder / "bundle").write_bytes(exported)
    (folder / "kept").write_text(kept, encoding="utf-8")
    command = [sys.executable, "-c", ALONE, "verify", "bundle", "--since", "kept"]
    command += ["--archive", *(str(path) for path in archives)] if archives else []
    done = subprocess.run(
        command, cwd=folder, env={"PATH": os.environ["PATH"]}, capture_output=True, text=True,
        check=False, timeout=120,
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr
