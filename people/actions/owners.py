"""Somebody has to be able to let people in: the last owner stays."""

from collections.abc import Iterator
from contextlib import contextmanager

from audit.errors import Refused
from people.models import Assignment
from people.roles import Role


@contextmanager
def keeping_an_owner() -> Iterator[None]:
    """Run a change that may cost an owner; raises Refused if none of all sites would be left.

    Owners' rows are locked before the change, all in one order: of two who each take the other's
    role away, one waits, then sees what the first left behind.
    """
    owners = Assignment.objects.filter(role=Role.OWNER, site=None)
    list(owners.order_by("pk").select_for_update().values_list("pk"))
    yield
    if not owners.filter(user__is_active=True).exists():
        raise Refused(
            "This would leave no owner of all sites who can sign in.",
            who_may="an owner",
            how_to_ask="Make somebody else an owner first.",
        )
