"""Permits for tests: planned, to be signed, and overdue."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import partial

from django.db import connection, transaction

from people.persons.models import User
from recipes.permits.actions import grant
from recipes.permits.models import Permit
from recipes.permits.plan import Changes, make_permit_plan
from stations.equipment.models import Slot
from tests.cast import credentials

COOLER: Changes = {"brew_temperature": Decimal("91.5")}


def granting(
    slots: list[Slot], by: User, changes: Changes = COOLER, days: int = 3
) -> partial[Permit]:
    """The signature under a plan that was just seen, still to be given."""
    ends_at = datetime.now(UTC) + timedelta(days=days)
    ids = tuple(slot.pk for slot in slots)
    seen = make_permit_plan(slots=ids, changes=changes, ends_at=ends_at, by=by)
    return partial(
        grant, by=by, slots=ids, changes=changes, ends_at=ends_at, seen=seen.digest,
        reason="Gasket worn", credentials=credentials(by), acknowledged=True,
    )  # fmt: skip


def make_overdue(permit: Permit) -> None:
    """No clock can be moved: as superuser, with every guard aside, the end is."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(
            "UPDATE recipes_permit SET granted_at = now() - interval '2 days',"
            " ends_at = now() - interval '1 s' WHERE id = %s",
            [permit.pk],
        )
        # In a test's own transaction "local" would last until its end.
        cursor.execute("SET LOCAL session_replication_role = origin")
