"""The governed tables as they are compared: their columns, and what older entries call them."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

from django.apps import apps
from django.db import models
from django.utils.text import capfirst

from audit.capture.governed import Capture, Column, Naming, quoted, recorded_columns
from audit.reading.labels import FORMER_COLUMNS

_OF_ROW = re.compile(r"n\.(\w+)")
_STATED = ("site_id", "subject_id", "parameter")
"""Columns of an entry in which a governed row's own column may stand."""


@dataclass(frozen=True)
class GovernedTable:
    """One table: `columns` stand in the entries' changes, `stated` in a column of the entry itself.

    Secret columns and those that are never recorded are in neither.
    """

    model: type[models.Model]
    naming: Naming
    columns: tuple[Column, ...]
    stated: Mapping[str, Column]

    @property
    def name(self) -> str:
        """As the database calls it."""
        return self.model._meta.db_table

    @property
    def word(self) -> str:
        """As people call one row of it."""
        return str(capfirst(self.model._meta.verbose_name))

    @property
    def key(self) -> str:
        """The primary key's column, quoted."""
        return quoted(str(self.model._meta.pk.column))

    def is_number(self, column: Column) -> bool:
        """Whether its values are numbers, however an entry spells them."""
        stored = next(f for f in self.model._meta.concrete_fields if f.column == column.name)
        while isinstance(stored, models.ForeignKey):
            stored = stored.target_field
        return isinstance(stored, models.IntegerField | models.DecimalField | models.FloatField)

    @property
    def every(self) -> tuple[Column, ...]:
        """All columns that are compared."""
        return (*self.columns, *self.stated.values())


@lru_cache(maxsize=1)
def governed_tables() -> tuple[GovernedTable, ...]:
    """Every governed table of the program."""
    every = apps.get_models(include_auto_created=True)
    return tuple(sorted(tables_of(every), key=lambda table: table.name))


def tables_of(every: Iterable[type[models.Model]]) -> Iterator[GovernedTable]:
    """Those of these models that are governed; proxies too, which govern a library's table."""
    for model in every:
        captures = [t for t in getattr(model._meta, "triggers", []) if isinstance(t, Capture)]
        if captures:
            naming = captures[0].naming
            columns = tuple(recorded_columns(model._meta, naming.exclude))
            yield GovernedTable(model, naming, columns, dict(_stated(model, naming)))


def _stated(model: type[models.Model], naming: Naming) -> Iterator[tuple[str, Column]]:
    """Columns left out of the changes because the entry says them anyway."""
    left_out = set(naming.exclude) - set(naming.secret)
    fields = {str(f.column): f for f in model._meta.concrete_fields}
    for entry_column in _STATED:
        match = _OF_ROW.fullmatch(getattr(naming, entry_column))
        name = match[1] if match else ""
        if name in fields and (name in left_out or fields[name].name in left_out):
            yield entry_column, Column(fields[name])


def former_columns(table: str) -> Mapping[str, str]:
    """What entries may call its columns, and what those are called today."""
    return {old: now for (of, old), now in FORMER_COLUMNS.items() if of == table}
