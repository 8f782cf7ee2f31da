"""The stored tree: appended to in bulk, read node by node."""

from collections.abc import Mapping, Sequence
from itertools import chain

from django.db import connection

from audit.ledger.checkpoint import Checkpoint as State
from audit.ledger.merkle import Coordinate, Frontier
from audit.ledger.proof import Span, coordinates
from audit.ledger.stamp import read_moment, runs_of
from audit.sealing.keys import DamagedError, by_signer
from audit.sealing.models import Checkpoint, Leaf

# Whoever holds it may append; released with the transaction, however that ends.
LOCK = 0x4C_45_44_47_45_52  # "LEDGER"

_NODES = """
SELECT n.level, n."offset", n.hash FROM audit_node n
JOIN unnest(%s::smallint[], %s::bigint[]) AS w(level, place)
    ON n.level = w.level AND n."offset" = w.place
UNION ALL
SELECT 0, l.index, l.hash FROM audit_leaf l WHERE l.index = ANY(%s::bigint[])
"""
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
    last = Leaf.objects.order_by("-index").values_list("index", flat=True).first()
    return 0 if last is None else last + 1


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
