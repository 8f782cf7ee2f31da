"""Which tables are governed, and the triggers that record every change to them.

Statement-level triggers with transition tables: whatever road the write took (ORM, bulk, COPY,
raw SQL, a cascade), each statement adds one entry per changed row in one INSERT…SELECT.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import pgtrigger
from django.apps import apps
from django.db import models
from django.db.models.options import Options

from audit.columns import differences, literal, quoted, recorded_columns, whole_row
from audit.triggers import FirmTrigger, insert_only, no_truncate

__all__ = ["EXEMPT", "exempt", "exempt_label", "governed", "insert_only", "ungoverned_models"]

M = TypeVar("M", bound=type[models.Model])

CONTEXT = "actor_id, actor, role, road, client_addr, request_id, action, reason, signature_id"
ROW = "operation, table_name, row_id, subject_type, subject_id, subject, site_id, parameter, unit"

EXEMPT: dict[str, str] = {}
"""Models that leave no history, by lower-case label, each with the reason why."""


@dataclass(frozen=True, slots=True)
class Naming:
    """SQL over the row `n` (and `l`, the row of `lookup`) that names what an entry is about."""

    subject: str
    subject_id: str
    label: str
    site_id: str
    parameter: str
    unit: str
    lookup: str
    exclude: tuple[str, ...]

    def source(self) -> str:
        """The lookup as a join that is planned as one index probe a row, at any row count."""
        return f" LEFT JOIN LATERAL ({self.lookup} LIMIT 1) l ON true" if self.lookup else ""

    def columns(self) -> str:
        """Subject, site, parameter and unit in the order of ROW."""
        return (
            f"{literal(self.subject)}, ({self.subject_id}), coalesce(({self.label})::text, ''), "
            f"({self.site_id}), ({self.parameter}), coalesce(({self.unit})::text, '')"
        )


def transition(**tables: str) -> pgtrigger.Referencing:
    """The rows of the statement, as tables."""
    return pgtrigger.Referencing(**tables)


class Capture(FirmTrigger):
    """Records one kind of statement on a governed table."""

    level = pgtrigger.Statement
    when = pgtrigger.After

    def __init__(self, operation: str, naming: Naming) -> None:
        self.captured, self.naming = operation, naming
        event = {
            "created": (pgtrigger.Insert, transition(new="new_rows")),
            "changed": (pgtrigger.Update, transition(old="old_rows", new="new_rows")),
            "removed": (pgtrigger.Delete, transition(old="old_rows")),
        }[operation]
        super().__init__(name=f"history_{operation}", operation=event[0], referencing=event[1])

    def get_declare(self, model: models.Model) -> list[tuple[str, str]]:
        """The context, read once a statement."""
        return [("c", "record")]

    def get_func(self, model: models.Model) -> str:
        """The body: one INSERT…SELECT of entries."""
        changes, row_id, rows = getattr(self, f"_{self.captured}")(model._meta)
        context = ", ".join(f"c.{name}" for name in CONTEXT.split(", "))
        table = literal(model._meta.db_table)
        return (
            "SELECT * INTO c FROM audit_context(); "  # noqa: S608  names of the model, no input
            f"INSERT INTO audit_entry ({CONTEXT}, {ROW}, changes) "
            f"SELECT {context}, '{self.captured}', {table}, {row_id}, {self.naming.columns()}, "
            f"{changes} FROM {rows}; RETURN NULL;"
        )

    def _created(self, meta: "Options[models.Model]") -> tuple[str, str, str]:
        columns = recorded_columns(meta, self.naming.exclude)
        rows = f"new_rows n{self.naming.source()}"
        return whole_row(columns, created=True), f"n.{_key(meta)}", rows

    def _removed(self, meta: "Options[models.Model]") -> tuple[str, str, str]:
        columns = recorded_columns(meta, self.naming.exclude)
        rows = f"old_rows n{self.naming.source()}"
        return whole_row(columns, created=False), f"n.{_key(meta)}", rows

    def _changed(self, meta: "Options[models.Model]") -> tuple[str, str, str]:
        # FULL JOIN for two reasons: a moved primary key shows as a row without partner, and a
        # nested loop (quadratic, if a plan made for one row is kept for 20,000) can't be chosen.
        columns, key = recorded_columns(meta, self.naming.exclude), _key(meta)
        table = literal(meta.db_table)
        row_id = f"CASE WHEN o.{key} = n.{key} THEN n.{key} ELSE audit_key_moved({table}) END"
        differ = " OR ".join(column.differs() for column in columns)
        rows = (
            f"old_rows o FULL JOIN new_rows n ON o.{key} = n.{key}{self.naming.source()} "
            f"WHERE {differ} OR o.{key} IS DISTINCT FROM n.{key}"
        )
        return differences(columns), row_id, rows


def _key(meta: "Options[models.Model]") -> str:
    """The primary key's column; raises TypeError unless it is a whole number."""
    key = meta.pk
    stored = key.target_field if isinstance(key, models.ForeignKey) else key
    if not isinstance(stored, models.IntegerField):
        raise TypeError(f"{meta.label}: a governed table needs a whole-number primary key.")
    return quoted(str(key.column))


def governed(
    *,
    subject: str,
    subject_id: str = "n.id",
    label: str = "''",
    site_id: str = "NULL",
    parameter: str = "NULL",
    unit: str = "NULL",
    lookup: str = "",
    exclude: tuple[str, ...] = (),
) -> list[pgtrigger.Trigger]:
    """Triggers for Meta.triggers that write one history entry per row created, changed or removed.

    Expressions are SQL over `n`, the new row (the old one of a removal). `lookup` is an optional
    SELECT over `n` whose first row they may use as `l`: one index probe instead of several scalar
    subqueries. Columns in `exclude` are never shown, and a change of those alone writes nothing.
    An update that changes nothing writes nothing; TRUNCATE and a moved primary key are refused.
    """
    naming = Naming(subject, subject_id, label, site_id, parameter, unit, lookup, exclude)
    captures = [Capture(operation, naming) for operation in ("created", "changed", "removed")]
    return [*captures, no_truncate("history_whole")]


def exempt(reason: str) -> Callable[[M], M]:
    """Class decorator: this model leaves no history, because of `reason`."""

    def mark(model: M) -> M:
        exempt_label(model._meta.label, reason)
        return model

    return mark


def exempt_label(label: str, reason: str) -> None:
    """The same for a model of another package, by its label ("sessions.Session")."""
    EXEMPT[label.lower()] = reason


def _is_governed(model: type[models.Model]) -> bool:
    triggers = getattr(model._meta, "triggers", [])
    return {t.captured for t in triggers if isinstance(t, Capture)} >= {
        "created",
        "changed",
        "removed",
    }


def ungoverned_models() -> list[str]:
    """Labels of all models, third-party and through tables too, neither governed nor exempt."""
    every = apps.get_models(include_auto_created=True)
    tables = [model for model in every if not model._meta.proxy]
    labels = [model._meta.label for model in tables if not _is_governed(model)]
    return sorted(label for label in labels if label.lower() not in EXEMPT)
