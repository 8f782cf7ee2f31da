"""The stored tree: appended to in bulk, read node by node."""

from collections.abc import Mapping, Sequence
from itertools import chain

import psycopg
from django.db import connection

from audit.ledger.checkpoint import Checkpoint as State
from audit.ledger.merkle import Coordinate, Frontier
from audit.ledger.proof import Span, coordinates
from audit.ledger.stamp import read_moment, runs_of
from audit.sealing.keys import DamagedError, by_signer
from audit.sealing.models import HASH, RUN, Checkpoint
from audit.sealing.runs import COUNT, SIZE, index_of, leaves

# Whoever holds it may append; released with the transaction, however that ends.
LOCK = 0x4C_45_44_47_45_52  # "LEDGER"

# The nearest row that begins at or before each place, if it reaches so far.
_NODES = f"""
SELECT w.level, w.place, substring(l.hashes FROM ({HASH} * (w.place - l."offset") + 1)::int
    FOR {HASH})
FROM unnest(%s::smallint[], %s::bigint[]) AS w(level, place)
CROSS JOIN LATERAL (
    SELECT l."offset", l.hashes FROM audit_node l
    WHERE l.level = w.level AND l."offset" <= w.place AND l."offset" > w.place - {RUN}
    ORDER BY l."offset" DESC LIMIT 1
) l WHERE l."offset" + {COUNT} > w.place
UNION ALL
SELECT 0, w.place, substring(l.hashes FROM ({HASH} * (w.place - l.index) + 1)::int FOR {HASH})
FROM unnest(%s::bigint[]) AS w(place)
CROSS JOIN LATERAL (
    SELECT l.index, l.hashes FROM audit_leaf l
    WHERE l.index <= w.place AND l.index > w.place - {RUN} ORDER BY l.index DESC LIMIT 1
) l WHERE l.index + {COUNT} > w.place
"""  # noqa: S608  our own SQL
_RUNS = f"""
SELECT l.index, l.entry_id, l.hashes FROM audit_leaf l
WHERE l.index > %s - {RUN} AND l.index < %s AND l.index + {COUNT} > %s ORDER BY l.index
"""  # noqa: S608  our own SQL
_EXTEND = "SELECT audit_extend(%s, %s::bigint[], %s::bigint[], %s, %s, %s)"
_SIGNED = "SELECT audit_signed(%s, %s, %s, %s, %s, %s, %s, %s)"


def sealing_alone(*, wait: bool = False) -> bool:
    """Take the sealers' lock for this transaction; False if another holds it and not to wait.

    What the one before wrote is visible to every statement after this one.
    """
    with connection.cursor() as cursor:
        if wait:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [LOCK])
            return True
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [LOCK])
        return bool(cursor.fetchone()[0])


def newest_checkpoint() -> Checkpoint | None:
    """The last signed state, as the database has it."""
    return Checkpoint.objects.order_by("-id").first()


def size() -> int:
    """How many leaves there are."""
    with connection.cursor() as cursor:
        cursor.execute(SIZE)
        return int(cursor.fetchone()[0])


def place(entry_id: int) -> int | None:
    """The number, from 0, of the entry's leaf; None while it is not sealed."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {index_of('w.id')} FROM (SELECT %s::bigint AS id) w", [entry_id])  # noqa: S608
        found = cursor.fetchone()[0]
    return None if found is None else int(found)


def entries_at(start: int, stop: int) -> list[int]:
    """The ids of the entries sealed as leaves from `start` up to but not including `stop`."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT entry_id FROM {leaves(str(start), str(stop))} l ORDER BY index")  # noqa: S608
        return [int(pk) for (pk,) in cursor]


def runs(start: int, stop: int) -> tuple[list[tuple[int, int]], bytes] | None:
    """Leaves from `start` up to but not including `stop`: their entries, as stretches from a first
    to a last id, and their hashes one after the other. None unless all are there and whole."""
    connection.ensure_connection()
    with connection.wrap_database_errors, psycopg.Cursor(connection.connection) as cursor:
        found = cursor.execute(_RUNS, [start, stop, start], binary=True).fetchall()
    entries, hashes, at = list[tuple[int, int]](), list[bytes](), start
    for index, entry_id, stored in found:
        before, beyond = max(start - index, 0), max(index + len(stored) // HASH - stop, 0)
        mine = stored[before * HASH : len(stored) - beyond * HASH]
        first, count = entry_id + before, len(mine) // HASH
        if index + before != at or len(stored) % HASH:
            return None
        if entries and entries[-1][1] == first - 1:
            first = entries.pop()[0]
        entries.append((first, entry_id + before + count - 1))
        hashes.append(mine)
        at += count
    return (entries, b"".join(hashes)) if at == stop else None


def nodes(places: Sequence[Coordinate]) -> Mapping[Coordinate, bytes]:
    """Stored nodes, leaves too, in one query; those that are not there are left out."""
    inner = [at for at in places if at.level]
    leaves = [at.offset for at in places if not at.level]
    with connection.cursor() as cursor:
        cursor.execute(_NODES, [[at.level for at in inner], [at.offset for at in inner], leaves])
        return {Coordinate(level, offset): bytes(made) for level, offset, made in cursor}


def frontier(leaves: int) -> Frontier:
    """The frontier of the first so many leaves. Raises DamagedError if a node is missing."""
    places = coordinates(Span(0, leaves))
    stored = nodes(places)
    try:
        return Frontier(leaves, [stored[at] for at in places])
    except KeyError as absent:
        raise DamagedError(f"The ledger's node {absent.args[0]} is missing.") from None


def append(
    start: int,
    entry_ids: Sequence[int],
    hashes: Sequence[bytes],
    tree: Frontier,
    proof: bytes | None = None,
) -> None:
    """Store leaves from index `start` and the nodes they complete; `tree` grows with them.

    Without the signer's proof only the tables' owner may: audit.sealing.appending.
    """
    if not entry_ids:
        return
    runs = runs_of(entry_ids)
    nodes = b"".join(chain.from_iterable(made for _, made in tree.extend(hashes)))
    firsts, counts = [first for first, _ in runs], [last - first + 1 for first, last in runs]
    by_signer(_EXTEND, [start, firsts, counts, b"".join(hashes), nodes, proof])


def add_checkpoint(
    state: State, note: str, floor: tuple[int, int], *, promise: bytes, proof: bytes | None
) -> Checkpoint:
    """Store a note over that state, with what whoever appends next has to prove."""
    made_at = read_moment(state.stamp.time) if state.stamp else None
    values = [state.size, state.root, note, made_at, *floor, promise, proof]
    return Checkpoint.objects.get(pk=by_signer(_SIGNED, values))
