"""The canonical bytes of an entry: RFC 8785 over every one of its columns.

Nothing is stored of them: a stored copy would prove itself only. They are worked out again from
the columns at every check, so that a change of any column shows.
"""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from django.db import connection

from audit.capture.models import Entry
from audit.ledger.canonical import row_encoder
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


def entries_by_id(ids: Sequence[int]) -> Mapping[int, bytes]:
    """The canonical bytes of these entries; those that are not here are left out."""
    with connection.cursor() as cursor:
        cursor.execute(_ENTRIES, [list(ids)])
        return {entry_id: payload_of(columns) for entry_id, *columns in cursor.fetchall()}


def payload_by_id(entry_id: int) -> bytes | None:
    """The canonical bytes of one entry, None if there is no such entry."""
    return entries_by_id([entry_id]).get(entry_id)


def _fit(value: object) -> object:
    return value if value is None or isinstance(value, str) else str(value)
