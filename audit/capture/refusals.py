"""What was refused is written down after the rollback that the refusal caused."""

import json

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper

from audit.errors import Refused, Subject

NOBODY = Subject("", None)


def write_refusal(
    refused: Refused, context: str, subject: Subject | None, site_id: int | None
) -> None:
    """Add one entry "refused"; `context` is the JSON that the transaction was told.

    Does nothing if the refusal is already written. A database error goes through: what can't be
    written down must not look as if it had been.
    """
    if refused.entry_id is not None:
        return
    about = refused.subject or subject or NOBODY
    attempted = {name: [_text(v) for v in pair] for name, pair in refused.attempted.items()}
    values: list[str | int | None] = [
        context,
        about.type,
        about.id,
        about.label,
        site_id if refused.site_id is None else refused.site_id,
        json.dumps(attempted),
        refused.message,
    ]
    here = connections[DEFAULT_DB_ALIAS]
    if _survives(here):
        refused.entry_id = _write(here, values)
        return
    aside = here.copy()
    try:
        refused.entry_id = _write(aside, values)
    finally:
        aside.close()


def _survives(here: BaseDatabaseWrapper) -> bool:
    """Whether a write on this connection outlives the refusal.

    Not if somebody else's atomic block is still open: the refusal is about to roll it back, so a
    connection of its own is needed. A TestCase's block is nobody's: nothing outlives a test.
    """
    if not here.in_atomic_block:
        return here.get_autocommit()
    return any(getattr(block, "_from_testcase", False) for block in here.atomic_blocks)


def _write(on: BaseDatabaseWrapper, values: list[str | int | None]) -> int:
    with on.cursor() as cursor:
        cursor.execute("SELECT audit_refuse(%s, %s, %s, %s, %s, %s::jsonb, %s)", values)
        return int(cursor.fetchone()[0])


def _text(value: object) -> object:
    return value if value is None or isinstance(value, str | bool | int) else str(value)
