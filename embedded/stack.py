"""The whole stack of one run: servers, then our own processes, stopped in reverse order."""

import os
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from typing import BinaryIO

import psutil

from embedded import cluster, postgres, valkey
from embedded.cluster import SUPERUSER
from embedded.folder import BASE_DIR, Folder
from embedded.host import LOOPBACK, CannotRunError, say, tail
from embedded.postgres import OWNER, PROGRAM
from embedded.process import Child, Program, die_with_parent, end_group, stop_leftovers

# What somebody waits for, and what may take minutes and must not be in its way.
PROMPT = ("--queues", "celery", "--concurrency", "2")
LONG = ("--queues", "long", "--concurrency", "1")

MINUTE, OFTEN = 60.0, 5  # seconds; what ends more often within them is not started again
WEB_SECONDS = 180.0  # until a web process answers, also on a busy machine


@dataclass
class Stack:
    """What runs, and the environment that tells every process of ours where."""

    folder: Folder
    env: dict[str, str]
    exits: ExitStack
    children: list[Child] = field(default_factory=list)
    owner: dict[str, str] = field(default_factory=dict)  # told to migrations alone
    ended: list[tuple[str, float]] = field(default_factory=list)  # by themselves, and when

    def start(self, program: Program) -> Child:
        """Start a process of ours, to be stopped with the stack."""
        return self.adopt(Child(program, self.folder))

    def adopt(self, child: Child) -> Child:
        """Count a started process as part of the stack."""
        place = len(self.children)
        self.children.append(child)
        # Whatever stands there by then: it may have been started again.
        self.exits.callback(self._stop, place)
        return child

    def _stop(self, place: int) -> None:
        self.children[place].stop()

    def processes(self) -> set[int]:
        """The ids of all that runs."""
        running = [child.pid for child in self.children if child.exit_code is None]
        below = [
            each.pid for pid in running for each in psutil.Process(pid).children(recursive=True)
        ]
        return {*running, *below}

    def revive(self) -> None:
        """Start again what ended by itself, and say so.

        Raises CannotRunError for what ends again and again.
        """
        for place, child in enumerate(self.children):
            if child.exit_code is None:
                continue
            now, name = time.monotonic(), child.program.name
            self.ended = [each for each in self.ended if now - each[1] < MINUTE] + [(name, now)]
            if sum(each[0] == name for each in self.ended) > OFTEN:
                self.require_alive()
            say(f"The {name} process ended by itself (code {child.exit_code}): started again.")
            end_group(child.pid)
            self.children[place] = Child(child.program, self.folder)

    def run(
        self,
        command: Sequence[str],
        *,
        stdout: BinaryIO | None = None,
        stderr: BinaryIO | None = None,
        as_owner: bool = False,
    ) -> int:
        """Run a command to its end where this stack is the environment; its exit code."""
        return subprocess.run(
            list(command),
            check=False,
            env={**os.environ, **self.env, **(self.owner if as_owner else {})},
            stdout=stdout,
            stderr=stderr,
            preexec_fn=die_with_parent,
        ).returncode

    def manage(self, *arguments: str, shown: bool = False, as_owner: bool = False) -> None:
        """Run a management command; CannotRunError with the end of its log when it fails."""
        log = self.folder.log(arguments[0])
        with log.open("wb") as file:
            command = [sys.executable, str(BASE_DIR / "manage.py"), *arguments]
            out = None if shown else file
            code = self.run(command, stdout=out, stderr=file, as_owner=as_owner)
        if code:
            raise CannotRunError(f"`{arguments[0]}` failed; the end of its log:\n{tail(log)}")

    def require_alive(self) -> None:
        """Raise CannotRunError naming a process that ended by itself, with its last words."""
        for child in self.children:
            if child.exit_code is not None:
                raise CannotRunError(
                    f"The {child.program.name} process ended by itself (code {child.exit_code}), "
                    f"so everything is stopped; the end of {child.log}:\n{tail(child.log)}"
                )


@contextmanager
def servers(folder: Folder, *, mode: str, careless: bool = False) -> Iterator[Stack]:
    """Start the servers that the environment does not name; the folder must be locked."""
    stop_leftovers(folder)
    with ExitStack() as exits:
        stack = Stack(folder, {"PORTALEDGER_MODE": mode}, exits)
        if not os.environ.get("DATABASE_URL"):
            place = cluster.prepare(folder)
            stack.adopt(postgres.start(place, careless=careless))
            # Tests make databases of their own, which takes the superuser.
            role = SUPERUSER if mode == "test" else PROGRAM
            stack.env["DATABASE_URL"] = place.url(role=role)
            stack.owner["OWNER_DATABASE_URL"] = place.url(role=OWNER)
        if not os.environ.get("REDIS_URL"):
            broker = valkey.start(folder)
            stack.adopt(broker.child)
            stack.env["REDIS_URL"] = broker.url
        yield stack


def run_application(stack: Stack, *, ports: Sequence[int], workers: int) -> list[str]:
    """Start web processes on the ports, workers and one beat; the addresses, once they answer."""
    for number in range(1, workers + 1):
        stack.start(_worker(str(number), stack, PROMPT))
    stack.start(_beat(stack))
    for port in ports:
        stack.start(_web(port, stack))
    addresses = [f"http://{LOOPBACK}:{port}" for port in ports]
    for address in addresses:
        _wait_until_answering(stack, address)
    if workers:
        stack.start(_worker("long", stack, LONG))  # last: nobody waits for what it does
    return addresses


def _python(stack: Stack, name: str, *module: str) -> Program:
    return Program(name, [sys.executable, "-m", *module], env=stack.env, cwd=BASE_DIR)


def _web(port: int, stack: Stack) -> Program:
    listen = ["--host", LOOPBACK, "--port", str(port), "--no-ws"]
    serve = ["granian", "--interface", "wsgi", "--blocking-threads", "8", "config.wsgi:application"]
    return _python(stack, f"web-{port}", *serve, *listen)


def _worker(name: str, stack: Stack, queue: Sequence[str]) -> Program:
    serve = ["celery", "-A", "config", "worker", *queue, "--loglevel", "INFO"]
    alone = ["--hostname", f"worker{name}@%h", "--without-gossip", "--without-mingle"]
    return _python(stack, f"worker-{name}", *serve, *alone)


def _beat(stack: Stack) -> Program:
    place = stack.folder.path / "beat"
    place.mkdir(exist_ok=True)
    kept = ["--schedule", str(place / "schedule"), "--pidfile", ""]
    return _python(stack, "beat", "celery", "-A", "config", "beat", *kept)


def _wait_until_answering(stack: Stack, address: str) -> None:
    deadline = time.monotonic() + WEB_SECONDS
    while time.monotonic() < deadline:
        stack.require_alive()
        try:
            with urllib.request.urlopen(f"{address}/readyz", timeout=5):  # noqa: S310 - ours
                return
        except (urllib.error.URLError, TimeoutError, ConnectionError):
            time.sleep(0.1)
    raise CannotRunError(f"{address} did not answer within {WEB_SECONDS:.0f} s: see its log.")
