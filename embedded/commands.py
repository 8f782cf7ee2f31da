"""What `python -m embedded` can do: serve the demo, walk through it, lend servers."""

import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from embedded import floor, witness
from embedded.folder import Folder
from embedded.host import (
    LOOPBACK,
    CannotRunError,
    elsewhere_path,
    free_port,
    require_alone,
    require_free,
    say,
)
from embedded.process import stop_leftovers
from embedded.stack import Stack, run_application, servers


def demo(*, port: int, reset: bool) -> int:
    """Serve the demo scenario until a signal; never returns by itself."""
    folder = Folder.default()
    with folder.locked(f"http://{LOOPBACK}:{port}"):
        require_free(port)
        if reset:
            stop_leftovers(folder)
            folder.clear()
        with servers(folder, mode="demo") as stack:
            load(stack, shown=True)
            witness.start(stack)
            # Again: web servers share a port without a word, and loading takes long.
            require_free(port)
            (address,) = run_application(stack, ports=[port], workers=1)
            require_alone(port, stack.processes())
            floor.start(stack, address)
            say(f"\nPortaledger is at {address} (logs in {folder.path / 'logs'}). Ctrl-C stops it.")
            while True:
                stack.revive()
                time.sleep(0.5)


def walkthrough(*, web: int, workers: int) -> int:
    """Run the main job against a fresh stack; the exit code is the narrator's."""
    with temporary_folder("walkthrough") as folder, servers(folder, mode="demo") as stack:
        load(stack, shown=False)
        witness.start(stack)
        addresses = run_application(stack, ports=free_ports(web), workers=workers)
        command = [sys.executable, "-m", "embedded.walkthrough", *addresses]
        code = stack.run(command)
        stack.require_alive()
        return code


def lend(*, command: Sequence[str]) -> int:
    """Run a command with throw-away servers that the environment does not name already.

    With DURABLE=1 the database waits for its disk at every commit, as it does in a deployment.
    """
    careless = os.environ.get("DURABLE") != "1"
    with (
        temporary_folder("lent") as folder,
        servers(folder, mode="test", careless=careless) as stack,
    ):
        return stack.run(command)


def load(stack: Stack, *, shown: bool) -> None:
    """Bring the schema up to date, gather static files, load the demo scenario if none is in."""
    stack.env["SECRET_KEY"] = stack.folder.secret_key()
    stack.env["LEDGER_KEY_FILE"] = str(stack.folder.path / "ledger_key")
    stack.env["STATIC_ROOT"] = str(stack.folder.path / "static")
    stack.env["ALLOWED_HOSTS"] = f"{LOOPBACK},localhost"
    stack.manage("migrate", "--noinput", "--verbosity", "1", as_owner=True)
    if stack.owner or os.environ.get("OWNER_DATABASE_URL"):
        stack.manage("grant_program", as_owner=True)
    stack.manage("collectstatic", "--noinput", "--verbosity", "0")
    stack.manage("load_demo", shown=shown)


def free_ports(count: int) -> list[int]:
    """Different free ports."""
    ports: set[int] = set()
    while len(ports) < count:
        ports.add(free_port())
    return sorted(ports)


@contextmanager
def temporary_folder(name: str) -> Iterator[Folder]:
    """A locked data folder that is gone afterwards; kept, and named, when the run fails."""
    path = Path(tempfile.mkdtemp(prefix=f"portaledger-{name}-"))
    path.chmod(0o711)
    folder = Folder.at(path)
    try:
        with folder.locked(name):
            yield folder
    except CannotRunError:
        say(f"The logs of this run are kept in {path / 'logs'}.")
        raise
    except BaseException:
        remove(folder)
        raise
    remove(folder)


def remove(folder: Folder) -> None:
    """Delete a temporary folder and what the database's user needed elsewhere."""
    shutil.rmtree(folder.path, ignore_errors=True)
    shutil.rmtree(elsewhere_path(folder.path), ignore_errors=True)
