"""The canonical bytes of an entry: RFC 8785 over every one of its columns.

Nothing is stored of them: a stored copy would prove itself only. They are worked out again from
the columns at every check, so that a change of any column shows.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice, repeat
from operator import le
from typing import Any

from django.db import DatabaseError, connection, transaction
from django.db.models import IntegerField

from audit.capture.models import Entry
from audit.ledger.canonical import SAFE_INT, recoded, row_encoder
from audit.ledger.errors import LedgerError

# Times in UTC to the microsecond, addresses as text; both as the database writes them, so that
# neither a driver nor a session's settings can spell one value in two ways.
_AS_TEXT = {
    "at": """to_char({} AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"')""",
    "client_addr": "host({})",
    "changes": "{}::text",
}
FIELDS = tuple(str(field.column) for field in Entry._meta.concrete_fields)
COLUMNS = ", ".join(_AS_TEXT.get(name, "{}").format(f"e.{name}") for name in FIELDS)
"""What to select of `audit_entry e` for `payload_of`."""

# By ids that are written out, which rules out all partitions but one or two; a join would plan
# for, and might read, all of them.
_ENTRIES = f"SELECT e.id, {COLUMNS} FROM audit_entry e WHERE e.id = ANY(%s)"  # noqa: S608

# The same bytes, put together where the columns are: what stands before the changes, the changes,
# and what stands after, for `payloads_of`. NULL where only the columns will do.
_EXACT = f"BETWEEN -{SAFE_INT} AND {SAFE_INT}"
_NUMBERS = {
    str(field.column) for field in Entry._meta.concrete_fields if isinstance(field, IntegerField)
}


_MAY_LACK = {str(field.column) for field in Entry._meta.concrete_fields if field.null}


def _quoted(name: str) -> str:
    column = f"e.{name}"
    if name in _NUMBERS:
        form = f"CASE WHEN {column} {_EXACT} THEN {column}::text END"
    elif name in _AS_TEXT:
        form = f"'\"' || {_AS_TEXT[name].format(column)} || '\"'"
    else:
        form = f"to_json({column})::text"
    return f"CASE WHEN {column} IS NULL THEN 'null' ELSE {form} END" if name in _MAY_LACK else form


def _together(parts: Sequence[str]) -> str:
    """All of them after one another, put together by halves: each text is copied few times."""
    if len(parts) == 1:
        return parts[0]
    half = len(parts) // 2
    return f"({_together(parts[:half])} || {_together(parts[half:])})"


def _joined(names: Sequence[str], before: str, after: str) -> str:
    places = enumerate(names)
    parts = [(f"'{',' if at else before}\"{name}\":'", _quoted(name)) for at, name in places]
    return _together([*chain.from_iterable(parts), f"'{after}'"])


# Time and changes stand side by side: the database spells the time once.
_SORTED = sorted(FIELDS)
_AT = _SORTED.index("changes")
assert _SORTED[_AT - 1] == "at"
_BETWEEN = '","changes":'
MADE = f"""e.id, e.txid, {_AS_TEXT["at"].format("e.at")} AS at,
    {_joined(_SORTED[: _AT - 1], "{", ',"at":"')} AS head,
    e.changes::text AS changes,
    {_joined(_SORTED[_AT + 1 :], ",", "}")} AS tail"""
"""What to select of `audit_entry e` for `payloads_of`."""

_MADE_BY_ID = f"SELECT {MADE} FROM audit_entry e WHERE e.id = ANY(%s::bigint[])"  # noqa: S608
_MADE_IN_A_ROW = f"""
SELECT {MADE} FROM audit_entry e WHERE e.id BETWEEN %s AND %s ORDER BY e.id
"""  # noqa: S608  our own SQL
_PARTS = ("id", "txid", "at", "head", "changes", "tail")
# JSON has line breaks as escapes alone. In one row: a row for each entry costs more than its bytes.
_LINES = ", ".join(f"string_agg(coalesce(m.{part}::text, ''), E'\n')" for part in _PARTS)

Values = Sequence[Any] | Mapping[str, Any]

_encode = row_encoder(FIELDS)
_CHANGES = FIELDS.index("changes")
_loads = json.JSONDecoder(parse_float=lambda digits: {"number": digits}).decode


def payload_of(row: Sequence[Any]) -> bytes:
    """Canonical bytes of a row of COLUMNS. Every row the table can hold has some."""
    values = list(row)
    try:
        values[_CHANGES] = _loads(values[_CHANGES])
        return _encode(values)
    except (LedgerError, RecursionError):
        # A whole number beyond 2^53, or changes nested deeper than a reader can follow: as text,
        # since an entry that could not be sealed would hold up all that come after it.
        return _encode([_fit(value) for value in row])


@dataclass(frozen=True, slots=True)
class Made:
    """Entries as they are sealed: their canonical bytes, and what the sealing asks of them. In
    columns, since there may be many thousands."""

    ids: list[int]
    txids: list[int]
    times: list[str]
    payloads: list[bytes]

    def in_order(self, keys: Sequence[Any]) -> "Made":
        """The same in the order of these keys, one for each."""
        if all(map(le, keys, islice(keys, 1, None))):
            return self
        return self.only(sorted(range(len(keys)), key=keys.__getitem__))

    @property
    def places(self) -> list[tuple[int, int]]:
        """Where each stands in the order of sealing: transaction, id."""
        return list(zip(self.txids, self.ids, strict=True))

    def only(self, places: Sequence[int]) -> "Made":
        """Those at these places, in their order."""
        columns = (self.ids, self.txids, self.times, self.payloads)
        return Made(*([column[at] for at in places] for column in columns))  # type: ignore[arg-type]


def payloads_of(query: str, values: Values) -> Made:
    """What a query of MADE finds, in any order, with the bytes of `payload_of` at a fifth of the
    cost: the database joins the columns, and all changes are parsed and written in one go.

    A row for which that will not do is made of its columns.
    """
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f"SELECT {_LINES} FROM ({query}) m", values)  # noqa: S608  our own
            found = cursor.fetchone()
    except DatabaseError:  # more than one value may hold: entry by entry it fits
        return _one_by_one(query, values)
    if found[0] is None:
        return Made([], [], [], [])
    ids, txids, times, heads, changes, tails = (column.split("\n") for column in found)
    texts = recoded(changes) or [(recoded([text]) or [""])[0] for text in changes]
    parts = heads, times, repeat(_BETWEEN), texts, tails
    whole = "\n".join(map("".join, zip(*parts))).encode().split(b"\n")  # noqa: B905  one is endless
    if any("" in part for part in (heads, times, texts, tails)):
        places = zip(heads, times, texts, tails, whole, strict=True)
        whole = [one if all(part) else b"" for *part, one in places]
    return _completed(Made(list(map(int, ids)), list(map(int, txids)), times, whole))


def _one_by_one(query: str, values: Values) -> Made:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT m.id, m.txid, m.at FROM ({query}) m", values)  # noqa: S608
        rows = cursor.fetchall()
    ids, txids, times = ([row[at] for row in rows] for at in range(3))
    return _completed(Made(ids, txids, [at or "" for at in times], [b""] * len(rows)))


def _completed(made: Made) -> Made:
    """With the bytes of those that have none yet, by their columns; without what is gone by now."""
    if all(made.payloads):
        return made
    left = [pk for pk, one in zip(made.ids, made.payloads, strict=True) if not one]
    slowly = _slowly(left)
    whole = [one or slowly.get(pk, b"") for pk, one in zip(made.ids, made.payloads, strict=True)]
    there = [at for at, one in enumerate(whole) if one]
    return replace(made, payloads=whole).only(there)


def _slowly(ids: Sequence[int]) -> Mapping[int, bytes]:
    with connection.cursor() as cursor:
        cursor.execute(_ENTRIES, [list(ids)])
        return {entry_id: payload_of(columns) for entry_id, *columns in cursor.fetchall()}


def made_by_id(ids: Sequence[int]) -> Made:
    """These entries, in any order; those that are not here are left out."""
    return payloads_of(_MADE_BY_ID, [f"{{{','.join(map(str, ids))}}}"])


def made_in_a_row(first: int, last: int) -> Made:
    """The entries with these ids and all between, in their order, as far as they are here."""
    found = payloads_of(_MADE_IN_A_ROW, [first, last])
    return found.in_order(found.ids)  # which the query's own order mostly saves, and never promises


def entries_by_id(ids: Sequence[int]) -> Mapping[int, bytes]:
    """The canonical bytes of these entries; those that are not here are left out."""
    made = made_by_id(ids)
    return dict(zip(made.ids, made.payloads, strict=True))


def payload_by_id(entry_id: int) -> bytes | None:
    """The canonical bytes of one entry, None if there is no such entry."""
    return entries_by_id([entry_id]).get(entry_id)


def _fit(value: object) -> object:
    return value if value is None or isinstance(value, str) else str(value)
