"""Everything that reads the code without running it (`make check`); all parts run, always."""

import os
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
READING = {"PORTALEDGER_MODE": "test"}
# As a deployment has it; `check --deploy` must find nothing to warn of.
DEPLOYED = {
    "PORTALEDGER_MODE": "production",
    "SECRET_KEY": "read-only-check-" + "0123456789abcdefghijklmnopqrstuvwxyz" * 2,
    "ALLOWED_HOSTS": "ledger.example.org",
    "TRUSTED_PROXIES": "1",
    "DATABASE_URL": "postgresql://ledger@database/ledger",
    "REDIS_URL": "redis://broker:6379/0",
}
MANAGE = [sys.executable, "manage.py"]


def module(*arguments: str) -> list[str]:
    """A tool of this virtual environment."""
    return [sys.executable, "-m", *arguments]


PARTS: dict[str, tuple[list[str], Mapping[str, str]]] = {
    "style": (module("ruff", "check", "."), {}),
    "layout": (module("ruff", "format", "--check", "."), {}),
    "types": (module("mypy", "--strict", "."), READING),
    "imports": ([str(Path(sys.executable).parent / "lint-imports")], READING),
    "deployment": ([*MANAGE, "check", "--deploy", "--fail-level", "WARNING"], DEPLOYED),
    "migrations": ([*MANAGE, "makemigrations", "--check", "--dry-run"], READING),
    "templates": (module("djlint", "--lint", "--quiet", "templates"), {}),
    "rooms": (module("tests.tooling.rooms"), {}),
    "layers": (module("tests.tooling.layers"), READING),
    "addresses": (module("tests.tooling.addresses"), {}),
    "supply": (module("tests.tooling.supply", "check"), {}),
}


def main(names: list[str]) -> int:
    """Run the named parts, or all; 1 when any of them finds something."""
    found = [name for name in names or PARTS if not _passes(name)]
    print(f"\nFound something: {', '.join(found)}." if found else "\nNothing found.")
    return 1 if found else 0


def _passes(name: str) -> bool:
    command, env = PARTS[name]
    began = time.monotonic()
    done = subprocess.run(
        command,
        cwd=ROOT,
        env={**os.environ, **env},
        check=False,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    passed = done.returncode == 0
    print(
        f"{name:<12}{'ok' if passed else 'FOUND':<8}{time.monotonic() - began:5.1f} s", flush=True
    )
    if not passed:
        print(done.stdout)
    return passed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
