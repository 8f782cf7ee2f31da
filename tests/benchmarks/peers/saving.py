"""One save with its commit, and one update of many rows, as each peer would have it written."""

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from typing import Any

import pghistory
import reversion
from auditlog.context import set_actor
from auditlog.models import LogEntry
from django.db import connection, models, transaction
from django.db.models import F
from reversion.models import Version
from simple_history.utils import bulk_update_with_history

from audit.capture.context import recorded
from audit.capture.models import Entry
from people.persons.actions import PERSON_CHANGED
from people.persons.models import User
from tests.benchmarks.peers.models import AuditLog, Ours, PgHistory, Plain, Reversion, SimpleHistory

Told = Callable[[User], AbstractContextManager[Any]]
TOLD: dict[type[models.Model], Told] = {
    Plain: lambda _: nullcontext(),
    Ours: lambda user: recorded(by=user, action=PERSON_CHANGED),
    PgHistory: lambda user: pghistory.context(user=user.pk),
    SimpleHistory: lambda _: nullcontext(),
    AuditLog: set_actor,
    Reversion: lambda _: reversion.create_revision(),
}
NAMES: dict[type[models.Model], str] = {
    Plain: "plain save",
    Ours: "our capture",
    PgHistory: "django-pghistory",
    SimpleHistory: "django-simple-history",
    AuditLog: "django-auditlog",
    Reversion: "django-reversion",
}


def save_each(model: type[models.Model], rows: list[Any], user: User) -> None:
    """Save every row by itself, each in a transaction of its own, the actor told."""
    for row in rows:
        row.a += 1
        row._history_user = user
        with TOLD[model](user):
            row.save()


def save_in_transaction(rows: list[Any]) -> None:
    """Plain saves, each in a transaction of its own: what remains when nothing is recorded."""
    for row in rows:
        row.a += 1
        with transaction.atomic():
            row.save()


def save_told(rows: list[Any], user: User) -> None:
    """The same with the actor told, and nothing there that would record it."""
    for row in rows:
        row.a += 1
        with TOLD[Ours](user):
            row.save()


def update_at_once(model: type[models.Model], user: User) -> None:
    """One UPDATE in one transaction."""
    with transaction.atomic(), TOLD[model](user):
        model._default_manager.update(a=F("a") + 1)


def bulk_simple(rows: list[Any], user: User) -> None:
    """simple-history's own way for many rows."""
    for row in rows:
        row.a += 1
    bulk_update_with_history(rows, SimpleHistory, ["a"], batch_size=1000, default_user=user)


def save_together(model: type[models.Model], rows: list[Any], user: User) -> None:
    """For peers that record nothing set-based: save by save, in one transaction."""
    with transaction.atomic(), TOLD[model](user):
        for row in rows:
            row.a += 1
            row.save()


def limit(audit_table: str, entry: str) -> None:
    """The bare UPDATE, and a bare INSERT…SELECT of as many audit rows."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE peers_plain SET a = a + 1")
        cursor.execute(f"INSERT INTO {audit_table} {entry}")


def recorded_by(model: type[models.Model]) -> int:
    """How many history rows there are of it."""
    counts: dict[type[models.Model], Callable[[], int]] = {
        Ours: Entry.objects.filter(table_name="peers_ours", operation="changed").count,
        PgHistory: pg_events,
        SimpleHistory: SimpleHistory.history.filter(history_type="~").count,
        AuditLog: LogEntry.objects.filter(action=LogEntry.Action.UPDATE).count,
        Reversion: Version.objects.count,
    }
    return counts[model]()


def pg_events() -> int:
    """Rows of pghistory's event table."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM peers_pghistoryevent")
        return int(cursor.fetchone()[0])
