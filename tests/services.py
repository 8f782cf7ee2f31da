"""The servers the tests run on: those the environment names, or embedded ones for this run.

Tests run on real PostgreSQL and a real broker. They are started once, by the process that
starts pytest; its parallel workers find them through the environment, and each has its own
test database and its own number on the broker.
"""

import os
from contextlib import ExitStack
from urllib.parse import urlsplit, urlunsplit

import pytest
from django.conf import settings

from config.settings.services import database
from embedded.commands import temporary_folder
from embedded.host import CannotRunError
from embedded.stack import servers

ADDRESSES = ("DATABASE_URL", "REDIS_URL")


def start(config: pytest.Config) -> None:
    """Make sure both servers are there, and that the settings of this process name them."""
    if not all(os.environ.get(name) for name in ADDRESSES):
        exits = ExitStack()
        config.add_cleanup(exits.close)
        try:
            folder = exits.enter_context(temporary_folder("test"))
            stack = exits.enter_context(servers(folder, mode="test", careless=True))
        except CannotRunError as problem:
            pytest.exit(str(problem), returncode=1)
        os.environ.update({name: stack.env[name] for name in ADDRESSES if name in stack.env})
    _use(os.environ["DATABASE_URL"], broker_of(os.environ.get("PYTEST_XDIST_WORKER", "")))


def broker_of(worker: str) -> str:
    """The broker's address for one parallel worker ("gw0" has number 1 there, and so on)."""
    number = int(worker.removeprefix("gw")) + 1 if worker else 0
    return urlunsplit(urlsplit(os.environ["REDIS_URL"])._replace(path=f"/{number}"))


def _use(database_url: str, redis_url: str) -> None:
    # pytest-django read the settings before this file was loaded.
    address = database(database_url)
    settings.DATABASES["default"].update(
        {key: address[key] for key in ("NAME", "USER", "PASSWORD", "HOST", "PORT")}
    )
    settings.REDIS_URL = settings.CELERY_BROKER_URL = redis_url
    settings.CACHES["quick"]["LOCATION"] = redis_url


def soaking() -> bool:
    """Whether the long rounds run whole (`make soak`)."""
    return os.environ.get("SOAK") == "1"


def rounds(whole: int, reduced: int) -> int:
    """How often a race or a random trial is repeated: whole in a soak, reduced otherwise."""
    return whole if soaking() else reduced
