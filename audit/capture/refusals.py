"""What was refused is written down after the rollback that the refusal caused."""

import hashlib
import json

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper

from audit.errors import Refused, Subject
from audit.quick import quick

NOBODY = Subject("", None)
MINUTE = 60  # seconds
FEW, MANY, CROWD = 5, 20, 100


def write_refusal(
    refused: Refused, context: str, subject: Subject | None, site_id: int | None
) -> None:
    """Add one entry "refused"; `context` is the JSON that the transaction was told.

    Does nothing if the refusal is already written, or is one of many within a minute (_times). A
    database error goes through: what can't be written down must not look as if it had been.
    """
    if refused.entry_id is not None:
        return
    about = refused.subject or subject or NOBODY
    times = _times(context, about, refused)
    if not times:
        return
    attempted = {name: [_text(v) for v in pair] for name, pair in refused.attempted.items()}
    values: list[str | int | None] = [
        context,
        about.type,
        about.id,
        about.label,
        site_id if refused.site_id is None else refused.site_id,
        json.dumps(attempted),
        refused.message + (f" (One of {times} tries within a minute.)" if times > FEW else ""),
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


def _times(context: str, about: Subject, refused: Refused) -> int:
    """How often this was tried within a minute, if that is worth an entry; else 0.

    The same again is an entry the first FEW times, then at the 10th, 100th ... time. Beyond MANY so
    is anything that one person, or one client, tries by the same action, and beyond CROWD what
    nobody signed in tries from anywhere: no loop fills the history.
    """
    told = json.loads(context)
    if told["actor_id"] is None and (crowd := _count(["anybody", told["action"]])) > CROWD:
        return crowd if _is_round(crowd) else 0
    who = [told["actor_id"], told["actor"], told["action"], told["client_addr"]]
    what = [about.type, about.id, refused.message, str(refused.attempted)]
    same, any_of_theirs = _count([*who, *what]), _count(who)
    if any_of_theirs > MANY:
        return any_of_theirs if _is_round(any_of_theirs) else 0
    return same if same <= FEW or _is_round(same) else 0


def _is_round(count: int) -> bool:
    return str(count).rstrip("0") == "1"


def _count(of: list[object]) -> int:
    """Counted up in the cache that all processes share, for a minute from the first."""
    key = f"refused:{hashlib.sha256(json.dumps(of).encode()).hexdigest()}"
    try:
        if quick.add(key, 1, MINUTE):
            return 1
        return int(quick.incr(key))
    except ValueError:  # the minute ended just now, or nothing is counted: write it
        return 1


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
