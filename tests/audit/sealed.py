"""A history of our own: entries by the handful, their leaves, and what only a superuser may do."""

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.merkle import Coordinate, Frontier
from audit.ledger.stamp import Stamp
from audit.sealing import store
from audit.sealing.keys import signer
from audit.sealing.memory import Batch
from audit.sealing.models import Checkpoint
from audit.sealing.seal import sign
from tests.audit.sample import Value, run

ALL = "audit_entry, audit_leaf, audit_node, audit_checkpoint, audit_ledgerkey"


def unguarded(sql: str, *values: Value) -> None:
    """As a superuser may, the triggers told to stand aside. Who changes the tree this way finds a
    row a hash, as it was stored once and may still be."""
    if TREE.search(sql):
        apart()
    run("SET session_replication_role = replica")
    run(sql, *values)
    run("SET session_replication_role = origin")


def apart() -> None:
    """The same tree, stored a row a hash, as it was once."""
    run("SET session_replication_role = replica")
    for statement in APART:
        run(statement)
    run("SET session_replication_role = origin")


TREE = re.compile("audit_leaf|audit_node")
_OUT = "generate_series(0, octet_length(hashes) / 32 - 1) g"
_HASH = "substring(hashes FROM 32 * g + 1 FOR 32)"
APART = (
    "WITH gone AS (DELETE FROM audit_leaf WHERE octet_length(hashes) > 32 RETURNING *)"
    f" INSERT INTO audit_leaf SELECT index + g, entry_id + g, {_HASH} FROM gone, {_OUT}",
    "WITH gone AS (DELETE FROM audit_node WHERE octet_length(hashes) > 32 RETURNING *)"
    f' INSERT INTO audit_node SELECT level, "offset" + g, {_HASH} FROM gone, {_OUT}',
)
_LEAVES = "INSERT INTO audit_leaf (index, entry_id, hashes) SELECT * FROM unnest({}, {}, {})"
_NODES = 'INSERT INTO audit_node (level, "offset", hashes) SELECT * FROM unnest({}, {}, {})'
_NUMBERS, _BYTES = "%s::bigint[]", "%s::bytea[]"


def grown(
    tree: Frontier, ids: list[int], hashes: list[bytes]
) -> Iterator[tuple[str, str, tuple[Value, ...]]]:
    """Table, statement and values by which a superuser puts leaves and their nodes straight into
    the tables: archived entries are there no more, and no function asks anything."""
    places = list(range(tree.size, tree.size + len(ids)))
    if ids:
        yield "audit_leaf", _LEAVES.format(_NUMBERS, _NUMBERS, _BYTES), (places, ids, hashes)
    if made := tree.append(hashes):
        levels, offsets, nodes = zip(*made, strict=True)
        values = list(levels), list(offsets), list(nodes)
        yield "audit_node", _NODES.format("%s::smallint[]", _NUMBERS, _BYTES), values


def shelves(count: int) -> None:
    """So many entries, in one statement."""
    run("INSERT INTO sample_shelf (name, site_id) SELECT 'S' || i, 3"
        " FROM generate_series(1, %s) i", count)  # fmt: skip


def sealed_ids() -> list[int]:
    """Entries in the order of sealing."""
    return store.entries_at(0, store.size())


def entry_at(index: int) -> int:
    """The id of the entry sealed at this place, from 0."""
    (pk,) = store.entries_at(index, index + 1)
    return pk


def leaf_hashes() -> list[bytes]:
    """The stored leaf hashes in their order."""
    places = [Coordinate(0, at) for at in range(store.size())]
    found = store.nodes(places)
    return [found[at] for at in places]


def last_checkpoint() -> Checkpoint:
    """The newest signed state."""
    return Checkpoint.objects.latest("id")


def body(answer: object) -> bytes:
    """What a streamed answer sends."""
    return b"".join(getattr(answer, "streaming_content", ()))


def newest_stamp() -> Stamp:
    """What the newest checkpoint says of time."""
    stamp = read_checkpoint(last_checkpoint().note).stamp
    assert stamp is not None
    return stamp


def signed_anew(**changes: Any) -> None:  # noqa: ANN401
    """The newest state signed once more by the signer itself, its stamp changed in something."""
    stamp = newest_stamp()
    tree = store.frontier(store.size())
    again = replace(stamp, number=stamp.number + 1, late=(), **changes)
    sign(tree, [signer()], again, Batch(tree.size, tree.root(), (), again.floor))
