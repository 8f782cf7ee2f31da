"""Somebody has to be able to let people in: the last owner stays."""

from audit.errors import Refused
from people.models import Assignment
from people.roles import Role


def keep_an_owner() -> None:
    """Raises Refused if no active owner of all sites would be left.

    Call it after the change, in its transaction. Owners' rows are locked first, so of two who
    each remove the other's role one waits, then sees what the first left behind.
    """
    owners = Assignment.objects.filter(role=Role.OWNER, site=None)
    list(owners.order_by("pk").select_for_update().values_list("pk"))
    if not owners.filter(user__is_active=True).exists():
        raise Refused(
            "This would leave no owner of all sites who can sign in.",
            who_may="an owner",
            how_to_ask="Make somebody else an owner first.",
        )
