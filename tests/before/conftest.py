"""The old database, migrated once a run; each test has a copy of its own to connect to."""

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
from django.contrib.contenttypes.models import ContentType
from django.core.management import call_command
from django.db import connection
from psycopg import sql
from pytest_django import DjangoDbBlocker, Settings

from audit.capture import partitions
from people.persons.models import User
from tests.before.old_database import Dump, load, migrate_as_it_was, read_dump

PASSWORD = "espresso-demo-only"  # of everybody in the demo


@dataclass(frozen=True)
class People:
    """Who acts in the tests."""

    owner: User
    head_roaster: User
    technician: User
    shop_lead: User


@pytest.fixture(scope="session")
def dump() -> Dump:
    """The rows as the old version left them."""
    return read_dump()


@pytest.fixture(scope="session")
def migrated(
    dump: Dump, django_db_setup: None, django_db_blocker: DjangoDbBlocker
) -> Iterator[str]:
    """The name of a database that the old version made and today's migrated."""
    with another_database() as name, django_db_blocker.unblock():
        with connected_to(name):
            migrate_as_it_was()
            load(dump, named(name))
            call_command("migrate", interactive=False, verbosity=0)
        yield name


@pytest.fixture
def before(
    migrated: str, django_db_blocker: DjangoDbBlocker, monkeypatch: pytest.MonkeyPatch,
    settings: Settings, tmp_path: os.PathLike[str],
) -> Iterator[People]:  # fmt: skip
    """Connected to a copy of the migrated database. Its signing key is not here: it is lost."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.PBKDF2PasswordHasher"]
    settings.LEDGER_KEY_FILE = os.path.join(tmp_path, "ledger_key")
    monkeypatch.setattr(partitions, "_bounds", partitions._Bounds())
    with another_database(like=migrated) as name, django_db_blocker.unblock(), connected_to(name):
        yield People(
            owner=_person("owner"),
            head_roaster=_person("head-roaster"),
            technician=_person("technician"),
            shop_lead=_person("lead-harbour"),
        )


def _person(key: str) -> User:
    return User.objects.get(email=f"{key}@portaledger.example")


def named(name: str) -> str:
    """The address of another database of the same server."""
    return urlunsplit(urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{name}"))


@contextmanager
def another_database(like: str = "template1") -> Iterator[str]:
    """A database for as long as the block lasts, a copy of that one."""
    name = f"before_{secrets.token_hex(4)}"
    made = sql.Identifier(name)
    with psycopg.connect(named("postgres"), autocommit=True) as server:
        server.execute(sql.SQL("CREATE DATABASE {} TEMPLATE {}").format(made, sql.Identifier(like)))
        try:
            yield name
        finally:
            server.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(made))


@contextmanager
def connected_to(name: str) -> Iterator[None]:
    """Django's connection leads there for as long as the block lasts."""
    usual = connection.settings_dict["NAME"]
    _reconnect(name)
    try:
        yield
    finally:
        _reconnect(usual)


def _reconnect(name: str) -> None:
    connection.close()
    connection.settings_dict["NAME"] = name
    ContentType.objects.clear_cache()
