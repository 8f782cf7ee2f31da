"""Measure, side by side: the peers take turns, so that drift hits all alike."""

import json
import os
from collections.abc import Callable
from typing import Any

import django
from django.test.utils import setup_databases, teardown_databases

os.environ["DJANGO_SETTINGS_MODULE"] = "tests.benchmarks.peers.settings"
os.environ.setdefault("PORTALEDGER_MODE", "test")
django.setup()

from django.db import connection  # noqa: E402

from audit.capture.context import recorded  # noqa: E402
from people.persons.actions import PERSON_ADDED  # noqa: E402
from people.persons.models import User  # noqa: E402
from tests.benchmarks.peers import saving  # noqa: E402
from tests.benchmarks.peers.models import (  # noqa: E402
    AuditLog,
    Ours,
    PgHistory,
    Plain,
    Reversion,
    SimpleHistory,
)
from tests.benchmarks.table import medians  # noqa: E402

SMALL = os.environ.get("SMALL") == "1"
ROWS = 1_000 if SMALL else 20_000
SAVES = 50 if SMALL else 400
SLOW = 200 if SMALL else 2_000  # rows of those that save one by one
ROUNDS = 5
NARROW = "SELECT id, now(), 1, jsonb_build_object('a', ARRAY[a - 1, a]) FROM peers_plain"
WIDE = (
    "(operation, table_name, row_id, subject_type, subject_id, subject, actor_id, actor, action,"
    " changes) SELECT 'changed', 'peers_plain', id, 'peer', id, id::text, 1, 'Owner',"
    " 'person.changed', jsonb_build_object('a', jsonb_build_array((a - 1)::text, a::text))"
    " FROM peers_plain"
)


def main() -> None:
    """A database of its own, emptied of nothing and dropped at the end."""
    made = setup_databases(verbosity=0, interactive=False)
    try:
        user = fill()
        print(json.dumps({"saves": saves(user), "bulk": bulk(user)}))
    finally:
        teardown_databases(made, verbosity=0)


def fill() -> User:
    """Equal rows in every table, and the bare audit tables of the limits."""
    with recorded(by=None, action=PERSON_ADDED):
        user = User.objects.create(email="owner@example.com", name="Owner")
    for model in saving.NAMES:
        model._default_manager.bulk_create([model() for _ in range(ROWS)], batch_size=5_000)
    with connection.cursor() as cursor:
        cursor.execute(
            "CREATE TABLE narrow (id bigint, at timestamptz, actor bigint, changes jsonb)"
        )
        cursor.execute("CREATE TABLE wide (LIKE audit_entry INCLUDING ALL)")
        cursor.execute("CREATE TABLE unindexed (LIKE audit_entry INCLUDING ALL EXCLUDING INDEXES)")
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")
    return user


def saves(user: User) -> dict[str, float]:
    """Seconds of one save, by name."""
    tasks: list[Callable[[], object]] = []
    for model in saving.NAMES:
        rows = list(model._default_manager.order_by("pk")[:SAVES])
        tasks.append(lambda model=model, rows=rows: saving.save_each(model, rows, user))  # type: ignore[misc]
    plain = list(Plain._default_manager.order_by("pk")[:SAVES])
    tasks.append(lambda: saving.save_in_transaction(plain))
    tasks.append(lambda: saving.save_told(plain, user))
    before = {model: saving.recorded_by(model) for model in saving.NAMES if model is not Plain}
    taken = medians(*tasks, rounds=ROUNDS)
    for model, count in before.items():
        assert saving.recorded_by(model) - count == SAVES * ROUNDS, model
    names = [*saving.NAMES.values(), "plain save in a transaction", "with the actor told"]
    return {name: time / SAVES for name, time in zip(names, taken, strict=True)}


def bulk(user: User) -> dict[str, dict[str, Any]]:
    """Seconds and entries for each row changed, by name."""
    simple = list(SimpleHistory._default_manager.all())
    audited, versions = (
        list(AuditLog._default_manager.all()[:SLOW]),
        list(Reversion._default_manager.all()[:SLOW]),
    )
    tasks: dict[str, tuple[Callable[[], object], int, Any]] = {
        "limit": (lambda: saving.limit("narrow", NARROW), ROWS, None),
        "the same entries": (lambda: saving.limit("unindexed", WIDE), ROWS, None),
        "the same entries and indexes": (lambda: saving.limit("wide", WIDE), ROWS, None),
        "our capture": (lambda: saving.update_at_once(Ours, user), ROWS, Ours),
        "django-pghistory": (lambda: saving.update_at_once(PgHistory, user), ROWS, PgHistory),
        "django-simple-history": (lambda: saving.bulk_simple(simple, user), ROWS, SimpleHistory),
        "django-auditlog": (lambda: saving.save_together(AuditLog, audited, user), SLOW, AuditLog),
        "django-reversion": (
            lambda: saving.save_together(Reversion, versions, user), SLOW, Reversion,
        ),
    }  # fmt: skip
    before = {name: model and saving.recorded_by(model) for name, (_, _, model) in tasks.items()}
    taken = medians(*(task for task, _, _ in tasks.values()), rounds=3)
    found = {}
    for (name, (_, rows, model)), time in zip(tasks.items(), taken, strict=True):
        share = (saving.recorded_by(model) - before[name]) / (rows * 3) if model else None
        found[name] = {"seconds": time / rows, "recorded": share}
    return found


if __name__ == "__main__":
    main()
