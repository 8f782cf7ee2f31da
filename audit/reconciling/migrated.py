"""What is done each time the tables have been migrated, as their owner."""

from typing import Any

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.migrations.executor import MigrationExecutor

from audit.reconciling.baseline import extend_baseline
from audit.reconciling.structure import note_structure


def after_migrating(*, using: str = DEFAULT_DB_ALIAS, **told: Any) -> None:  # noqa: ANN401  Django's
    """Extend the baseline and note the tables' rules; only when all migrations have been run.

    `plan` is not told by a flush, which has migrated nothing.
    """
    if "plan" not in told or _is_behind(using):
        return
    extend_baseline()
    note_structure()


def _is_behind(using: str) -> bool:
    executor = MigrationExecutor(connections[using])
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))
