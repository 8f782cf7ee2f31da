"""The canonical bytes of an entry: RFC 8785 over every one of its columns.

Nothing is stored of them: a stored copy would prove itself only. They are worked out again from
the columns at every check, so that a change of any column shows.
"""

import json
from collections.abc import Sequence
from typing import Any

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


def _fit(value: object) -> object:
    return value if value is None or isinstance(value, str) else str(value)
