"""The system user the database server runs as, and where that user may go.

PostgreSQL refuses to run as root. When we are root it runs as `nobody`, who may not be able
to enter root's home; then its files go elsewhere. Permissions of folders that are not ours
are never touched.
"""

import hashlib
import os
import pwd
import stat
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import TypedDict

from embedded.sentences import CannotRunError

ELSEWHERE = Path("/var/tmp")  # noqa: S108 - the folder made there is checked to be ours


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
