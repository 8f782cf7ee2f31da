"""The stored tree: appended to in bulk, read node by node."""

from collections.abc import Iterable, Mapping, Sequence

from django.db import connection

from audit.ledger.merkle import Coordinate, Frontier
from audit.ledger.proof import Span, coordinates
from audit.sealing.keys import DamagedError
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


def append(start: int, entry_ids: Sequence[int], hashes: Sequence[bytes], tree: Frontier) -> None:
    """Store leaves from index `start` and the nodes they complete; `tree` grows with them."""
    rows = zip(range(start, start + len(hashes)), entry_ids, hashes, strict=True)
    _copy("audit_leaf (index, entry_id, hash)", ("int8", "int8", "bytea"), rows)
    runs = tree.extend(hashes)
    made = (
        (level, first + at, one)
        for level, (first, run) in enumerate(runs, start=1)
        for at, one in enumerate(run)
    )
    _copy('audit_node (level, "offset", hash)', ("int2", "int8", "bytea"), made)


def _copy(table: str, types: Sequence[str], rows: Iterable[tuple[object, ...]]) -> None:
    with (
        connection.cursor() as cursor,
        cursor.copy(f"COPY {table} FROM STDIN (FORMAT BINARY)") as copy,
    ):
        copy.set_types(types)
        for row in rows:
            copy.write_row(row)
