"""The computer a run happens on: its terminal, its ports, its users and its installed packages."""

import hashlib
import os
import pwd
import socket
import stat
import subprocess
from collections.abc import Collection
from contextlib import suppress
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import TypedDict

import psutil

LOOPBACK = "127.0.0.1"
LOOPBACK_6 = "::1"
ELSEWHERE = Path("/var/tmp")  # noqa: S108 - the folder made there is checked to be ours


class CannotRunError(Exception):
    """The run cannot start or go on; the message is one clear sentence saying what to do."""


def say(text: str) -> None:
    """One line on standard output, at once, also when it goes to a pipe."""
    print(text, flush=True)


def tail(log: Path, lines: int = 15) -> str:
    """The end of a log file, indented, or a word that there is none."""
    if not log.exists():
        return "    (no log)"
    last = log.read_text(errors="replace").splitlines()[-lines:]
    return "\n".join(f"    {line}" for line in last) or "    (nothing in the log)"


def free_port() -> int:
    """A port nobody listens on at this moment."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        port: int = probe.getsockname()[1]
        return port


def require_free(port: int) -> None:
    """Raise CannotRunError, naming the port and the way out, when somebody listens there."""
    if _somebody_answers(port):
        raise CannotRunError(_taken(port))
    with socket.socket() as probe:
        # As the web server will: a port that only waits out closed connections is free.
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((LOOPBACK, port))
        except OSError:
            raise CannotRunError(_taken(port)) from None


def require_alone(port: int, ours: Collection[int]) -> None:
    """Raise CannotRunError when a process that is none of ours listens on the port as well.

    A server may share its port with others by the kernel (SO_REUSEPORT), without a word to any of
    them, each getting some of what is asked. Where the kernel tells only root who listens, nothing
    is found out.
    """
    try:
        found = psutil.net_connections("tcp")
    except psutil.AccessDenied:
        return
    for each in found:
        listens = each.status == psutil.CONN_LISTEN and each.laddr[1:] == (port,)
        if listens and each.pid not in ours:
            raise CannotRunError(_taken(port))


def _somebody_answers(port: int) -> bool:
    """By any name that people type for this machine: `localhost` is ::1 to some browsers."""
    for address in (LOOPBACK, LOOPBACK_6):
        with suppress(OSError), socket.create_connection((address, port), timeout=1):
            return True
    return False


def _taken(port: int) -> str:
    return (
        f"Port {port} on {LOOPBACK} is in use by another program: "
        f"choose a free one, for example `make demo PORT={port + 1}`."
    )


# PostgreSQL refuses to run as root. When we are root it runs as `nobody`, who may not be able
# to enter root's home; then its files go elsewhere. Permissions of folders that are not ours
# are never touched.


class Credentials(TypedDict, total=False):
    """How subprocess is told to change user."""

    user: int
    group: int
    extra_groups: list[int]


@dataclass(frozen=True)
class Account:
    """A system user; `None` of these means the one we run as already."""

    name: str
    uid: int
    gid: int

    @property
    def credentials(self) -> Credentials:
        """Arguments for subprocess that run a command as this user."""
        return {"user": self.uid, "group": self.gid, "extra_groups": []}


def database_account() -> Account | None:
    """Who runs PostgreSQL: `nobody` when we are root, else ourselves (None)."""
    if os.geteuid() != 0:
        return None
    entry = pwd.getpwnam("nobody")
    return Account(entry.pw_name, entry.pw_uid, entry.pw_gid)


def credentials(account: Account | None) -> Credentials:
    """Arguments for subprocess; none when the user stays the same."""
    return account.credentials if account else {}


def may(account: Account | None, test: str, path: Path) -> bool:
    """Whether the account passes `test` (-x, -r, -w) on the path, asked as that user."""
    # The shell asks the kernel with all that may stand in the way: parents, ACLs, mounts.
    done = subprocess.run(
        ["/bin/sh", "-c", f'test {test} "$1"', "sh", str(path)],
        cwd="/",
        check=False,
        capture_output=True,
        **credentials(account),
    )
    return done.returncode == 0


def elsewhere_path(folder: Path) -> Path:
    """The name of our own folder outside the checkout, one for each data folder."""
    mark = hashlib.sha256(str(folder).encode()).hexdigest()[:12]
    return ELSEWHERE / f"portaledger-{mark}"


def elsewhere(folder: Path) -> Path:
    """That folder, made if missing, for what the database's user must reach.

    Raises CannotRunError when somebody else made a folder of that name first.
    """
    place = elsewhere_path(folder)
    place.mkdir(mode=0o711, exist_ok=True)
    found = place.lstat()
    if not stat.S_ISDIR(found.st_mode) or found.st_uid != os.geteuid():
        raise CannotRunError(
            f"{place} belongs to somebody else: set PORTALEDGER_DATA to a folder "
            "that every user may enter."
        )
    place.chmod(0o711)
    return place


def package_folder(name: str) -> Path:
    """Where an installed package lies; CannotRunError when it is not installed."""
    spec = find_spec(name)
    if spec is None or not spec.submodule_search_locations:
        raise CannotRunError(
            f"The package {name} is not installed: run `make demo`, which installs it, "
            "or set DATABASE_URL and REDIS_URL to servers of your own."
        )
    return Path(spec.submodule_search_locations[0])
