"""A real worker process, to be killed; and its own broker number, to be emptied."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode, urlsplit, urlunsplit

import redis
from celery import current_app
from django.conf import settings
from django.db import connection
from kombu import Connection

from embedded.process import die_with_parent
from tests.tooling.listing import ROOT

NAME = "worker-to-kill"  # as the database knows it
SECONDS = 90.0  # until a worker is ready, also on a busy machine
APART = 8  # the broker's numbers below are those of the tests running beside this one


def broker_url() -> str:
    """A number on the test's broker that nobody else uses."""
    parts = urlsplit(str(settings.REDIS_URL))
    return urlunsplit(parts._replace(path=f"/{int(parts.path.lstrip('/') or 0) + APART}"))


def database_url() -> str:
    """The test database, under a name by which its sessions can be found."""
    parts = urlsplit(os.environ["DATABASE_URL"])
    query = "&".join(filter(None, [parts.query, urlencode({"application_name": NAME})]))
    name = connection.settings_dict["NAME"]
    return urlunsplit(parts._replace(path=f"/{name}", query=query))


@dataclass
class Worker:
    """A worker and all its processes."""

    process: subprocess.Popen[bytes]
    log: Path

    def kill(self) -> None:
        """SIGKILL for all of them at once: nothing is tidied up."""
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    @property
    def alive(self) -> bool:
        """Whether its main process runs."""
        return self.process.poll() is None


def start(log: Path) -> Worker:
    """Start a worker as the stack does; returns once it takes tasks."""
    env = {
        **os.environ,
        "PORTALEDGER_MODE": "test",
        "DATABASE_URL": database_url(),
        "REDIS_URL": broker_url(),
    }
    env.pop("PYTEST_CURRENT_TEST", None)
    command = [sys.executable, "-m", "celery", "-A", "config", "worker", "--concurrency", "2"]
    quiet = ["--loglevel", "INFO", "--without-gossip", "--without-mingle"]
    with log.open("wb") as file:
        process = subprocess.Popen(
            [*command, *quiet],
            cwd=ROOT,
            env=env,
            stdout=file,
            stderr=file,
            start_new_session=True,
            preexec_fn=die_with_parent,  # noqa: PLW1509 - no threads yet
        )
    worker = Worker(process, log)
    try:
        wait_until_ready(worker)
    except BaseException:
        worker.kill()
        raise
    return worker


def wait_until_ready(worker: Worker) -> None:
    """Its log says when it takes tasks."""
    until = time.monotonic() + SECONDS
    while " ready." not in (told := worker.log.read_text(errors="replace")):
        assert worker.alive, told
        assert time.monotonic() < until, told
        time.sleep(0.05)


@contextmanager
def broker() -> Iterator[Connection]:
    """The broker's number, empty before and after."""
    client = redis.Redis.from_url(broker_url())
    client.flushdb()
    options = current_app.conf.broker_transport_options
    with Connection(broker_url(), transport_options=options) as link:
        yield link
    client.flushdb()
    client.close()


def send(link: Connection, task: str, *arguments: int) -> None:
    """Hand a task to whichever worker listens."""
    current_app.send_task(f"recipes.tasks.{task}", list(arguments), connection=link)


def wait_until_busy() -> None:
    """Return as soon as one of the worker's database sessions is in a transaction."""
    until = time.monotonic() + SECONDS
    while time.monotonic() < until:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT 1 FROM pg_stat_activity"
                " WHERE application_name = %s AND datname = current_database()"
                " AND xact_start IS NOT NULL",
                [NAME],
            )
            if cursor.fetchone():
                return
        time.sleep(0.002)
    raise AssertionError("the worker does nothing")


def cut() -> int:
    """End the worker's database sessions, whatever they are doing; returns how many."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity"
            " WHERE application_name = %s AND datname = current_database()",
            [NAME],
        )
        return int(cursor.fetchone()[0])
