"""Words for the columns of governed tables, and for the values in them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from django.apps import apps
from django.db import models
from django.utils.text import capfirst


@dataclass(frozen=True, slots=True)
class Label:
    """How one column is shown: its name, its UCUM unit, and words for coded values.

    `target` is the model a foreign key leads to; of a key without one, `kind_column` says the
    kind of thing. `of_parameter`: a number in the unit of the entry's parameter.
    """

    name: str
    unit: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    is_time: bool = False
    target: type[models.Model] | None = None
    is_code: bool = False  # of a parameter
    kind_column: str = ""
    of_parameter: bool = False


CODES = {"code", "parameter"}  # columns that may hold a parameter's code
LABELS: dict[tuple[str, str], Label] = {}
FORMER: dict[str, str] = {}
FORMER_COLUMNS: dict[tuple[str, str], str] = {}


def register_label(
    table: str,
    column: str,
    label: str,
    unit: str = "",
    values: Mapping[str, str] | None = None,
    *,
    kind_column: str = "",
    of_parameter: bool = False,
) -> None:
    """Name a column where the model's own wording is not what the page should say."""
    LABELS[table, column] = Label(
        label, unit, values or {}, kind_column=kind_column, of_parameter=of_parameter
    )


def register_table_of_old(old: str, table: str) -> None:
    """Entries name a table as it was called when they were written: what `old` is called today."""
    FORMER[old] = table


def register_column_of_old(table: str, old: str, column: str) -> None:
    """The same for a column of a table, which is named as it is called today."""
    FORMER_COLUMNS[table, old] = column


def label_of(table: str, column: str) -> Label:
    """The registered label, else the model's wording, else (a column long gone) its name."""
    table = FORMER.get(table, table)
    column = FORMER_COLUMNS.get((table, column), column)
    return LABELS.get((table, column)) or _from_model(table, column)


def _from_model(table: str, column: str) -> Label:
    model = models_by_table().get(table)
    fields = model._meta.concrete_fields if model else []
    model_field = next((f for f in fields if f.column == column), None)
    if model_field is None:
        return Label(capfirst(column.replace("_", " ")), is_code=column in CODES)
    coded = {str(code): str(words) for code, words in (model_field.flatchoices or [])}
    return Label(
        capfirst(str(model_field.verbose_name)),
        values=coded,
        is_time=isinstance(model_field, models.DateTimeField),
        is_code=column in CODES,
        target=model_field.related_model if isinstance(model_field, models.ForeignKey) else None,
    )


def column_order(table: str) -> dict[str, int]:
    """The place of each column in its model; jsonb keeps an order of its own."""
    model = models_by_table().get(FORMER.get(table, table))
    fields = model._meta.concrete_fields if model else []
    return {str(f.column): place for place, f in enumerate(fields)}


def in_order(table: str, columns: Iterable[str]) -> list[str]:
    """Columns in the order of the model; those it no longer has come last, by name."""
    order = column_order(table)
    return sorted(columns, key=lambda name: (order.get(name, len(order)), name))


@lru_cache(maxsize=1)
def models_by_table() -> Mapping[str, type[models.Model]]:
    """Every model by its table."""
    every = apps.get_models(include_auto_created=True)
    return {model._meta.db_table: model for model in every if not model._meta.proxy}
