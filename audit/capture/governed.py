"""Which tables are governed, and the triggers that record every change to them.

Statement-level triggers with transition tables: whatever way the write took (ORM, bulk, COPY,
raw SQL, a cascade), each statement adds one entry per changed row in one INSERT…SELECT.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TypeVar

import pgtrigger
from django.apps import apps
from django.db import models
from django.db.models.options import Options

from audit.capture.triggers import FirmTrigger, insert_only, no_truncate
from audit.errors import UNSHOWN


def quoted(name: str) -> str:
    """An SQL identifier."""
    return '"' + name.replace('"', '""') + '"'


def literal(text: str) -> str:
    """An SQL string."""
    return "'" + text.replace("'", "''") + "'"


def _stored(field: "models.Field[object, object]") -> "models.Field[object, object]":
    """The field whose type a column has: a foreign key's is that of its target."""
    while isinstance(field, models.ForeignKey):
        field = field.target_field
    return field


def _spelling(field: "models.Field[object, object]") -> str:
    """How a value is written: 'text' for numbers JSON would bend, 'hex' for bytes, else 'plain'."""
    stored = _stored(field)
    if isinstance(stored, models.DecimalField | models.FloatField):
        return "text"
    if isinstance(stored, models.BigIntegerField) and not field.is_relation:
        return "text"  # beyond 2^53 canonical JSON has no integers
    return "hex" if isinstance(stored, models.BinaryField) else "plain"


class Column:
    """One recorded column of a governed table."""

    def __init__(self, field: "models.Field[object, object]") -> None:
        self.name = str(field.column)
        self.spelling = _spelling(field)

    def at(self, alias: str) -> str:
        """The bare value; compared as the database compares it, so 1.0 equals 1.00."""
        return f"{alias}.{quoted(self.name)}"

    def value(self, alias: str) -> str:
        """The value as it goes into the entry."""
        forms = {"text": "{}::text", "hex": "encode({}, 'hex')", "plain": "{}"}
        return forms[self.spelling].format(self.at(alias))

    def differs(self) -> str:
        """True where the old row (o) and the new row (n) hold different values."""
        return f"{self.at('o')} IS DISTINCT FROM {self.at('n')}"


def hidden_columns(meta: "Options[models.Model]", names: Iterable[str]) -> list[Column]:
    """The columns of these fields. Raises FieldDoesNotExist."""
    return [Column(meta.get_field(name)) for name in names]  # type: ignore[arg-type]


def recorded_columns(meta: "Options[models.Model]", exclude: Iterable[str]) -> list[Column]:
    """Every column but the primary key, generated ones and the excluded (field or column names).

    Raises ValueError for an excluded name the model lacks, or if nothing is left to record.
    """
    left_out = set(exclude)
    fields = [f for f in meta.concrete_fields if not f.primary_key]
    unknown = left_out - {f.name for f in fields} - {f.column for f in fields}
    kept = [
        Column(f)
        for f in fields
        if not f.generated and f.name not in left_out and f.column not in left_out
    ]
    if unknown or not kept:
        raise ValueError(f"{meta.label}: nothing to record, or unknown {sorted(unknown)}.")
    return kept


def whole_row(columns: Iterable[Column], *, created: bool) -> str:
    """jsonb {column: [null, value]} of each non-null column of n, or [value, null] if removed.

    Put together as text and parsed once: measured 1.6 times as fast as building jsonb by parts.
    """
    head, tail = ("[null,", "]") if created else ("[", ",null]")
    parts = [
        f"CASE WHEN {column.at('n')} IS NOT NULL THEN "
        f"{literal(_column_key(column.name) + head)} || {_json_text(column)} || '{tail}' END"
        for column in columns
    ]
    return f"('{{' || concat_ws(',', {', '.join(parts)}) || '}}')::jsonb"


def _column_key(name: str) -> str:
    return f'"{name}":'


def _json_text(column: Column) -> str:
    if column.spelling == "plain":
        return f"to_json({column.at('n')})::text"
    return f"'\"' || {column.value('n')} || '\"'"  # digits, signs and letters only: no escapes


def differences(columns: Iterable[Column], hidden: Iterable[Column] = ()) -> str:
    """jsonb {column: [old, new]} of each column in which o and n differ; of a hidden one, only so.

    A hidden column is told as UNSHOWN both before and after: what it holds never leaves its table.
    """
    parts = [
        f"{literal(column.name)}: CASE WHEN {column.differs()} "
        f"THEN jsonb_build_array({column.value('o')}, {column.value('n')}) END"
        for column in columns
    ] + [
        f"{literal(column.name)}: CASE WHEN {column.differs()} "
        f"THEN jsonb_build_array({literal(UNSHOWN)}, {literal(UNSHOWN)}) END"
        for column in hidden
    ]
    return f"JSON_OBJECT({', '.join(parts)} ABSENT ON NULL RETURNING jsonb)"


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
    secret: tuple[str, ...] = ()

    def source(self) -> str:
        """The lookup as a join that is planned as one index probe a row, at any row count."""
        return f" LEFT JOIN LATERAL ({self.lookup} LIMIT 1) l ON true" if self.lookup else ""

    def columns(self) -> str:
        """Subject, site, parameter and unit in the order of ROW."""
        subject = self.subject if self.subject.startswith("n.") else literal(self.subject)
        return (
            f"{subject}, ({self.subject_id}), coalesce(({self.label})::text, ''), "
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
        hidden = hidden_columns(meta, self.naming.secret)
        table = literal(meta.db_table)
        row_id = f"CASE WHEN o.{key} = n.{key} THEN n.{key} ELSE audit_key_moved({table}) END"
        differ = " OR ".join(column.differs() for column in [*columns, *hidden])
        rows = (
            f"old_rows o FULL JOIN new_rows n ON o.{key} = n.{key}{self.naming.source()} "
            f"WHERE {differ} OR o.{key} IS DISTINCT FROM n.{key}"
        )
        return differences(columns, hidden), row_id, rows


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
    secret: tuple[str, ...] = (),
) -> list[pgtrigger.Trigger]:
    """Triggers for Meta.triggers that write one history entry per row created, changed or removed.

    `subject` is a kind of thing, or the column ("n. …") that says which kind. The other
    expressions are SQL over `n`, the new row (the old one of a removal). `lookup` is an optional
    SELECT over `n` whose first row they may use as `l`: one index probe instead of several scalar
    subqueries. Columns in `exclude` are never shown, and a change of those alone writes nothing.
    Those in `secret` are never shown either, but that one was changed is written.
    An update that changes nothing writes nothing; TRUNCATE and a moved primary key are refused.
    """
    naming = Naming(
        subject, subject_id, label, site_id, parameter, unit, lookup, (*exclude, *secret), secret
    )
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
