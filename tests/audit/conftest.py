"""Tables and people for the tests of the history."""

from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from pytest_django.plugin import DjangoDbBlocker

from audit import vocabulary as actions
from audit.capture.models import Entry
from tests.audit import sample
from tests.audit.desk import desk
from tests.audit.emptying import emptying

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


@pytest.fixture
def person() -> Person:
    return Person()


def since(entry_id: int) -> list[Entry]:
    """The entries after one, oldest first."""
    return list(Entry.objects.filter(pk__gt=entry_id).order_by("pk"))


def newest() -> int:
    """The id of the newest entry there is."""
    return Entry.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
