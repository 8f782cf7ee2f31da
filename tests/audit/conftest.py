"""Tables and people for the tests of the history."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.test import Client
from pytest_django import Settings
from pytest_django.plugin import DjangoDbBlocker

from audit import vocabulary as actions
from audit.capture import partitions
from audit.capture.models import Entry
from audit.sealing.seal import seal
from tests.audit import sample
from tests.audit.desk import desk
from tests.audit.emptying import emptying
from tests.audit.months import one_again
from tests.audit.sealed import ALL, shelves, unguarded
from tests.cast import Cast

__all__ = ["desk", "emptying"]

SORTED = actions.register("shelf.sorted", "Sorted shelf")
FILLED = actions.register("jar.filled", "Filled jar")


@dataclass
class Person:
    """Anybody who acts, as the history sees them."""

    pk: int = 7
    name: str = "Head roaster"

    def history_role(self, site_id: int | None) -> str:
        return "head roaster" if site_id is None else f"head roaster at {site_id}"


@pytest.fixture(scope="session")
def sample_tables(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """Made once; dropped again so that a kept test database stays the program's own."""
    with django_db_blocker.unblock():
        sample.create()
    yield
    with django_db_blocker.unblock():
        sample.drop()


@pytest.fixture
def shelf(sample_tables: None, db: None) -> sample.Shelf:
    """A shelf at site 3, its own entry behind it."""
    return sample.Shelf.objects.create(name="Top", site_id=3)


@pytest.fixture(autouse=True)
def key_file(settings: Settings, tmp_path: Path) -> Path:
    """Where the signing key goes: a folder of the test."""
    settings.LEDGER_KEY_FILE = str(tmp_path / "keys" / "ledger_key")
    return Path(settings.LEDGER_KEY_FILE)


@pytest.fixture
def only_ours(sample_tables: None, db: None) -> None:
    """An empty history, whatever the migrations wrote; rolled back with the test."""
    unguarded(f"TRUNCATE {ALL}")


@pytest.fixture
def owner(sample_tables: None, cast: Cast) -> Client:
    """An owner's browser, before a history of some entries sealed in two steps."""
    unguarded("TRUNCATE audit_entry")
    shelves(5)
    seal()
    shelves(7)
    seal()
    browser = Client()
    browser.force_login(cast.owner)
    return browser


@pytest.fixture(autouse=True)
def unremembered(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a test's partitions begin is not remembered beyond it."""
    monkeypatch.setattr(partitions, "_bounds", partitions._Bounds())


@pytest.fixture
def one_partition(transactional_db: None, sample_tables: None) -> Iterator[None]:
    """For tests that commit: what they did to the partitions is undone."""
    yield
    one_again()


@pytest.fixture
def person() -> Person:
    return Person()


def since(entry_id: int) -> list[Entry]:
    """The entries after one, oldest first."""
    return list(Entry.objects.filter(pk__gt=entry_id).order_by("pk"))


def newest() -> int:
    """The id of the newest entry there is."""
    return Entry.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
