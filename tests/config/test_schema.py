"""The short way to the tables of an empty database makes what all migrations make."""

from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from pytest_django import DjangoDbBlocker

from config.schema.snapshot import Snapshot, is_empty
from tests.before.conftest import another_database, connected_to, named
from tests.tooling.schema import dumped

Made = tuple[str, dict[str, int], set[tuple[str, str]]]


@contextmanager
def empty(blocker: DjangoDbBlocker) -> Iterator[str]:
    """Connected to a database without tables."""
    with another_database() as name, blocker.unblock(), connected_to(name):
        assert is_empty(connection)
        yield name


def made(name: str) -> Made:
    """All that is in it: tables, functions, triggers; rows of each table; recorded migrations."""
    with connection.cursor() as cursor:
        counts = {}
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT count(*) FROM "{table}"')
            counts[table] = cursor.fetchone()[0]
    connection.close()
    return dumped(named(name)), counts, set(MigrationRecorder(connection).applied_migrations())


def test_both_ways_make_the_same(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> None:
    with empty(django_db_blocker) as name:
        call_command("migrate", interactive=False, verbosity=0, one_by_one=True)
        slow = made(name)
    with empty(django_db_blocker) as name:
        call_command("migrate", interactive=False, verbosity=0)
        fast = made(name)
    assert fast[0].splitlines() == slow[0].splitlines()
    assert fast[0].count("CREATE TRIGGER") > 300
    assert fast[1:] == slow[1:]


def test_the_snapshot_stands_for_migrations_there_are() -> None:
    """Renumbering or removing one of those needs `make schema`."""
    loader = MigrationLoader(None, ignore_no_migrations=True)
    kept = set(Snapshot.read().migrations)
    assert kept <= set(loader.disk_migrations)
    for key in kept:
        before = {parent.key for parent in loader.graph.node_map[key].parents}
        assert before <= kept, f"{key} comes after a migration that the snapshot lacks"


def test_a_session_is_left_as_it_was(
    django_db_setup: None, django_db_blocker: DjangoDbBlocker
) -> None:
    settings = "SELECT name, setting FROM pg_settings WHERE context = 'user' ORDER BY name"
    with empty(django_db_blocker), connection.cursor() as cursor:
        cursor.execute(settings)
        before = dict(cursor.fetchall())
        call_command("migrate", interactive=False, verbosity=0)
        cursor.execute(settings)
        # Those of plpgsql are there from its first use.
        after = {each: value for each, value in cursor.fetchall() if each in before}
        assert after == before


@pytest.mark.django_db
def test_a_database_of_a_newer_release_is_refused() -> None:
    MigrationRecorder(connection).record_applied("recipes", "9999_of_tomorrow")
    with pytest.raises(CommandError, match=r"newer release .*recipes\.9999_of_tomorrow.*backup"):
        call_command("migrate", interactive=False, verbosity=0, stdout=StringIO())


@pytest.mark.django_db
def test_migrations_of_an_app_that_is_no_more_are_let_be() -> None:
    MigrationRecorder(connection).record_applied("gone", "0001_initial")
    call_command("migrate", "--check", verbosity=0, stdout=StringIO())
