"""What a row is about and is called: by the row that stands, else by the entry that tells of it."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db import connection

from audit.capture.models import Entry
from audit.reconciling.tables import GovernedTable
from audit.registry import registry


@dataclass(frozen=True, slots=True)
class Named:
    """A thing of the history: its type and id, what it is called, and its site."""

    type: str = ""
    id: int | None = None
    label: str = ""
    site_id: int | None = None


Row = tuple[str, int]


def names_of(
    tables: Sequence[GovernedTable], rows: Iterable[tuple[str, int, int | None]]
) -> dict[Row, Named]:
    """By table and row, for (table, row, entry or None): one query a table, one for entries."""
    wanted = list(rows)
    ids: dict[str, list[int]] = defaultdict(list)
    for table, row, _ in wanted:
        ids[table].append(row)
    names = {(table, row): Named(label=f"#{row}") for table, row, _ in wanted}
    names |= _by_entries(wanted)
    for one in tables:
        if one.name in ids:
            names |= _by_rows(one, ids[one.name])
    return names


def _by_entries(rows: Iterable[tuple[str, int, int | None]]) -> dict[Row, Named]:
    told = {entry: (table, row) for table, row, entry in rows if entry is not None}
    entries = Entry.objects.filter(pk__in=told).values_list(
        "pk", "subject_type", "subject_id", "subject", "site_id"
    )
    return {told[pk]: Named(type_, id_, label, site) for pk, type_, id_, label, site in entries}


def _by_rows(table: GovernedTable, ids: Sequence[int]) -> dict[Row, Named]:
    naming = table.naming
    sql = (
        f"SELECT n.{table.key}, {naming.columns()} FROM {table.name} n{naming.source()}"  # noqa: S608
        f" WHERE n.{table.key} = ANY(%s)"
    )
    with connection.cursor() as cursor:
        cursor.execute(sql.replace("%", "%%").replace("%%s", "%s"), [list(ids)])
        return {
            (table.name, row): Named(type_, id_, label, site)
            for row, type_, id_, label, site, _parameter, _unit in cursor.fetchall()
        }


def touched_by(table: str, rows: Iterable[int]) -> dict[int, set[tuple[str, int]]]:
    """Of rows of a table: the things besides their own that they belong to, by type and id."""
    found: dict[int, set[tuple[str, int]]] = defaultdict(set)
    if find := registry.touched.get(table):
        for row, type_, pk in find(list(rows)):
            found[row].add((type_, pk))
    return found
