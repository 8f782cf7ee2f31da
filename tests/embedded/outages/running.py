"""A running copy whose servers can be frozen, cut off and started again."""

import signal
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

import psutil
import psycopg
import requests

from embedded import cluster, postgres
from embedded.process import Child
from embedded.stack import Stack
from tests.cast import PASSWORD

OWNER = "owner@example.com"
PATIENCE = 20.0  # seconds that nobody would wait: only to end a test that hangs
LOGIN = "/account/login/"


@dataclass(frozen=True)
class Running:
    """What runs, and where it answers."""

    stack: Stack
    address: str

    def child(self, name: str) -> Child:
        """The newest process of that name."""
        return next(each for each in reversed(self.stack.children) if each.program.name == name)

    def get(self, path: str, browser: requests.Session | None = None) -> requests.Response:
        """Ask for a page."""
        return (browser or requests).get(self.address + path, timeout=PATIENCE)

    def many(self, path: str, count: int = 16) -> list[requests.Response]:
        """Ask for it by as many at once as the process has threads."""
        with ThreadPoolExecutor(8) as threads:
            return list(threads.map(lambda _: self.get(path), range(count)))

    def sign_in(
        self, browser: requests.Session, password: str = PASSWORD, who: str = OWNER
    ) -> requests.Response:
        """Send the sign-in form."""
        if not browser.cookies:
            browser.get(self.address + LOGIN, timeout=PATIENCE)
        sent = {
            "login": who,
            "password": password,
            "csrfmiddlewaretoken": browser.cookies["csrftoken"],
        }
        return browser.post(self.address + LOGIN, sent, timeout=PATIENCE)

    @contextmanager
    def frozen(self, name: str) -> Iterator[None]:
        """Stop a server and all its processes as a machine that hangs would."""
        main = psutil.Process(self.child(name).pid)
        stopped = [main, *main.children(recursive=True)]
        for process in stopped:
            process.suspend()
        try:
            yield
        finally:
            for process in stopped:
                process.resume()

    def cut_connections(self) -> int:
        """End every connection of the program to the database; how many."""
        place = cluster.prepare(self.stack.folder)
        with psycopg.connect(place.url(), autocommit=True) as link:
            return len(
                link.execute(
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                    " WHERE pid <> pg_backend_pid() AND datname = current_database()"
                ).fetchall()
            )

    def stop_database(self) -> None:
        """In the way a restart does."""
        child = self.child("database")
        psutil.Process(child.pid).send_signal(signal.SIGINT)
        while child.exit_code is None:
            time.sleep(0.05)

    def start_database(self) -> None:
        """Again, on the same data."""
        self.stack.adopt(postgres.start(cluster.prepare(self.stack.folder)))

    def wait_until_well(self) -> None:
        """Until the database is known to answer; the test fails if that does not happen."""
        until = time.monotonic() + PATIENCE
        while self.get("/readyz").status_code != 200:
            assert time.monotonic() < until
            time.sleep(0.2)
