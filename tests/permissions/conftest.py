"""The world that the matrix asks about: made once for a module, and rolled back after it."""

from collections.abc import Iterator

import pytest
from pytest_django import DjangoDbBlocker

from tests.permissions.world import World, lasting_world


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    """One of everything; what a test changes it undoes itself."""
    with django_db_blocker.unblock(), lasting_world() as made:
        yield made
