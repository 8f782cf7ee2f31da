"""SQL that writes down a row's values, made from the model's own columns."""

from collections.abc import Iterable

from django.db import models
from django.db.models.options import Options


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
        f"{literal(_key(column.name) + head)} || {_json_text(column)} || '{tail}' END"
        for column in columns
    ]
    return f"('{{' || concat_ws(',', {', '.join(parts)}) || '}}')::jsonb"


def _key(name: str) -> str:
    return f'"{name}":'


def _json_text(column: Column) -> str:
    if column.spelling == "plain":
        return f"to_json({column.at('n')})::text"
    return f"'\"' || {column.value('n')} || '\"'"  # digits, signs and letters only: no escapes


def differences(columns: Iterable[Column]) -> str:
    """jsonb {column: [old, new]} of each column in which o and n differ."""
    parts = [
        f"{literal(column.name)}: CASE WHEN {column.differs()} "
        f"THEN jsonb_build_array({column.value('o')}, {column.value('n')}) END"
        for column in columns
    ]
    return f"JSON_OBJECT({', '.join(parts)} ABSENT ON NULL RETURNING jsonb)"
