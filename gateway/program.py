"""What the program does: enrol, run, rotate the key."""

import logging
import signal
import threading
from collections.abc import Callable
from contextlib import ExitStack, closing
from datetime import timedelta
from ipaddress import ip_address
from pathlib import Path
from urllib.parse import urlsplit

from gateway import keys
from gateway.client import LineError, RevokedError, Server, ServerRefusesError
from gateway.clock import Clock
from gateway.driver import MOST_NAME, Driver
from gateway.floor import Floor
from gateway.line import APPLIED, Line
from gateway.pace import Pace
from gateway.state import State, StateError
from gateway.store import Store

UNNAMED = "a driver that does not say its name"
log = logging.getLogger("gateway")


def require_safe(url: str, *, plain: bool) -> None:
    """TLS, unless the server is this machine or whoever starts us says so. Raises StateError.

    Requests are signed, answers are not: without TLS anybody on the way can say what to load.
    """
    address = urlsplit(url)
    if address.scheme == "https" or plain:
        return
    host = address.hostname or ""
    try:
        here = ip_address(host).is_loopback
    except ValueError:
        here = host == "localhost"
    if address.scheme != "http" or not here:
        raise StateError(f"{url}: use https:// (or --plain-http, where the network is your own)")


def enrol(*, url: str, code: str, state: State, name: str, driver: str) -> str:
    """Make this gateway known by its one-time code; the site it is of. Raises StateError."""
    state.prepare()
    with state.locked():
        if state.enrolment.exists():
            raise StateError(f"{state.folder} is enrolled already; take an empty folder")
        # No server takes a key twice: each try has its own, also after an answer that was lost.
        state.key.unlink(missing_ok=True)
        server = Server(url, keys.make(state.key), Clock())
        try:
            answer = server.enrol(code=code, name=name, driver=driver)
        except (LineError, ServerRefusesError, RevokedError) as problem:
            raise StateError(f"not enrolled: {problem}") from problem
        finally:
            server.close()
        missing = {"gateway", "keyid", "source", "site"} - set(answer)
        if missing:
            raise StateError(f"not enrolled: the answer lacks {', '.join(sorted(missing))}")
        state.write_enrolment({**answer, "server": url, "name": name})
        return str(answer["site"])


def rotate(state: State) -> None:
    """Take a new key: made known while the old one is good, used at once, the old one gone.

    A kill in between leaves a file of the next key; the next start finds out which one is good.
    """
    with state.locked():
        enrolled = state.enrolled()
        if not state.next_key.exists():
            keys.make(state.next_key)
        new = keys.read(state.next_key)
        server = Server(str(enrolled["server"]), keys.read(state.key), Clock())
        try:
            server.rotate(new)
        except (LineError, ServerRefusesError, RevokedError) as problem:
            raise StateError(f"the key was not rotated: {problem}") from problem
        finally:
            server.close()
        settle_key(state)


def settle_key(state: State) -> None:
    """End a rotation: whichever of two keys the server takes is the key."""
    if not state.next_key.exists():
        return
    server = Server(str(state.enrolled()["server"]), keys.read(state.next_key), Clock())
    try:
        server.settings()
    except LineError as problem:
        if not problem.unknown_key:
            raise StateError(
                f"a key was being rotated, and the server is away: {problem}"
            ) from None
        state.next_key.unlink()
        return
    finally:
        server.close()
    state.next_key.replace(state.key)
    keys.sync_folder(state.folder)


def run(*, state: State, make: Callable[[Path], Driver], pace: Pace, moved: str = "") -> None:
    """Run until SIGTERM or SIGINT, with the server where it ``moved`` to, if it did.

    Raises StateError, RevokedError.
    """
    with ExitStack() as exits:
        exits.enter_context(state.locked())
        enrolled = state.enrolled()  # before anything is asked of a machine
        if moved and moved != enrolled["server"]:
            state.write_enrolment({**enrolled, "server": moved})
        settle_key(state)
        stop = threading.Event()
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: stop.set())
        store = exits.enter_context(closing(Store(state.database)))
        clock = Clock(timedelta(seconds=float(store.note(APPLIED, "0"))))
        driver = make(state.folder)
        line = _LineThread(state, clock, named(driver), pace, stop)
        line.start()
        Floor(store=store, driver=driver, clock=clock, pace=pace).run(stop)
        line.join(timeout=5.0)
        if line.problem:
            raise line.problem


class _LineThread(threading.Thread):
    """The side towards the server, with connections of its own to store and server."""

    def __init__(
        self, state: State, clock: Clock, driver: str, pace: Pace, stop: threading.Event
    ) -> None:
        super().__init__(name="line", daemon=True)
        self.state, self.clock, self.driver, self.pace, self.stop = state, clock, driver, pace, stop
        self.problem: Exception | None = None

    def run(self) -> None:
        """Until told to stop; what ends it otherwise ends the program."""
        try:
            self._towards_server()
        except Exception as problem:
            self.problem = problem
        finally:
            self.stop.set()

    def _towards_server(self) -> None:
        enrolled = self.state.enrolled()
        with closing(Store(self.state.database)) as store:
            address, key = str(enrolled["server"]), keys.read(self.state.key)
            with closing(Server(address, key, self.clock)) as server:
                line = Line(
                    store=store,
                    server=server,
                    enrolled=enrolled,
                    driver=self.driver,
                    pace=self.pace,
                )
                line.run(self.stop)


def named(driver: Driver) -> str:
    """The driver as it is told to the server; one that fails is told by the rounds to come."""
    try:
        described = driver.describe()
    except Exception:
        log.exception("the driver does not say what it is")
        return UNNAMED
    return f"{described.name} {described.version}"[:MOST_NAME]
