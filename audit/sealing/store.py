"""The stored tree: appended to in bulk, read node by node."""

from collections.abc import Iterable, Mapping, Sequence
from struct import Struct

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
    _copy("audit_leaf (index, entry_id, hash)", _leaf_rows(start, entry_ids, hashes))
    runs = tree.extend(hashes)
    _copy('audit_node (level, "offset", hash)', _node_rows(runs))


def _leaf_rows(start: int, ids: Sequence[int], hashes: Sequence[bytes]) -> list[bytes]:
    pack = _LEAF.pack
    rows = enumerate(zip(ids, hashes, strict=True), start)
    return [pack(3, 8, index, 8, entry_id, 32, one) for index, (entry_id, one) in rows]


def _node_rows(runs: Sequence[tuple[int, Sequence[bytes]]]) -> list[bytes]:
    pack = _NODE.pack
    return [
        pack(3, 2, level, 8, offset, 32, one)
        for level, (first, run) in enumerate(runs, 1)
        for offset, one in enumerate(run, first)
    ]


# COPY's binary form: the number of columns, then the length and the bytes of each.
_LEAF, _NODE = Struct("!hiqiqi32s"), Struct("!hihiqi32s")
_HEAD, _END = b"PGCOPY\n\xff\r\n\0" + bytes(8), b"\xff\xff"


def _copy(table: str, rows: Iterable[bytes]) -> None:
    with (
        connection.cursor() as cursor,
        cursor.copy(f"COPY {table} FROM STDIN (FORMAT BINARY)") as copy,
    ):
        copy.write(b"".join([_HEAD, *rows, _END]))
