"""The data folder of one run: where everything is, and the lock that keeps runs apart."""

import fcntl
import json
import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from embedded.host import CannotRunError, elsewhere_path

# Settings are not read here: they differ from process to process of one run.
BASE_DIR = Path(__file__).resolve().parents[1]

# All that a run ever makes in its folder; starting over removes these and nothing else.
OURS = (
    *("database", "database.new", "broker", "logs", "static", "pids", "secret_key", "beat"),
    *("ledger_key", "ledger_key.next", "ledger_key.state", "ledger_key.lock", "witness"),
)


@dataclass(frozen=True)
class Folder:
    """A data folder; made if missing, and enterable (not readable) by the database's user."""

    path: Path

    @classmethod
    def default(cls) -> "Folder":
        """PORTALEDGER_DATA, or var/ in the checkout."""
        return cls.at(Path(os.environ.get("PORTALEDGER_DATA") or BASE_DIR / "var"))

    @classmethod
    def at(cls, path: Path) -> "Folder":
        """The folder at that path; CannotRunError if it cannot be made or written to."""
        path = path.expanduser().resolve()
        try:
            if not path.exists():
                path.mkdir(parents=True)
                path.chmod(0o711)
            (path / "logs").mkdir(exist_ok=True)
        except OSError as error:
            raise CannotRunError(
                f"The data folder {path} cannot be used ({error.strerror}): "
                "set PORTALEDGER_DATA to a folder you may write to."
            ) from None
        return cls(path)

    def log(self, name: str) -> Path:
        """Where the process of that name writes."""
        return self.path / "logs" / f"{name}.log"

    def secret_key(self) -> str:
        """This folder's own key, made once and readable by its owner only."""
        file = self.path / "secret_key"
        if not file.exists() or not file.read_text():
            file.touch(mode=0o600)
            file.write_text(secrets.token_urlsafe(64))
        return file.read_text()

    def clear(self) -> None:
        """Remove everything a run made here. Call with the lock held and nothing running."""
        _remove(self.path, OURS)
        apart = elsewhere_path(self.path)
        if apart.exists() and apart.stat().st_uid == os.geteuid():
            _remove(apart, ("database", "database.new"))
        (self.path / "logs").mkdir()

    @contextmanager
    def locked(self, address: str) -> Iterator[None]:
        """Hold the folder; CannotRunError when another run does.

        The kernel drops the lock with the process, so a crash leaves nothing to clean up.
        """
        with (self.path / "lock").open("a+") as file:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise CannotRunError(_taken(self.path)) from None
            file.truncate(0)
            json.dump({"pid": os.getpid(), "address": address}, file)
            file.flush()
            yield


def _remove(place: Path, names: tuple[str, ...]) -> None:
    for name in names:
        target = place / name
        if target.is_dir() and not target.is_symlink():
            shutil.rmtree(target)
        else:
            target.unlink(missing_ok=True)


def _taken(path: Path) -> str:
    try:
        holder = json.loads((path / "lock").read_text())
        who = f"process {holder['pid']}, {holder['address']}"
    except (ValueError, KeyError):
        who = "still starting"
    return (
        f"Portaledger already runs from {path} ({who}): "
        "stop that one first, or set PORTALEDGER_DATA to another folder."
    )
