"""The world of the permission matrix, with some more in it."""

import pytest

from tests.bad_input.things import Things, make_things
from tests.permissions.conftest import world
from tests.permissions.world import World

__all__ = ["things", "world"]


@pytest.fixture(scope="module")
def things(world: World) -> Things:
    """What bodies and forms refer to; in the world's transaction, so it goes with it."""
    return make_things(world)
