"""SQL that takes the runs of leaves and nodes apart: audit.sealing.models.

A row holds RUN hashes at the most, so whatever is looked for begins in one of the RUN places up to
its own: every question here is a short range of an index. A hash that is not whole, which no
constraint lets in, is handed out as it is, for the checks to name.
"""

from audit.sealing.models import HASH, RUN

COUNT = f"((octet_length(l.hashes) + {HASH - 1}) / {HASH})"
"""How many hashes the row `l` holds."""

_APART = f"""
    CROSS JOIN LATERAL generate_series(0, {COUNT} - 1) g
"""
_HASH = f"substring(l.hashes FROM {HASH} * g + 1 FOR {HASH})"


def _begins(start: str) -> str:
    """The first place at which a row may begin that reaches `start`, also where that is the least
    number there is."""
    return f"greatest(({start})::bigint, {RUN - 2**63}) - {RUN - 1}"


def leaves(start: str = "", stop: str = "", *, by: str = "index") -> str:
    """A table of (index, entry_id, hash), a row a leaf: those whose `by` lies from `start` up to
    but not including `stop`, SQL both; all without."""
    within = (
        f"WHERE l.{by} >= {_begins(start)} AND l.{by} < {stop} AND l.{by} + g >= {start}"
        f" AND l.{by} + g < {stop}"
        if start
        else ""
    )
    return (
        f"(SELECT l.index + g AS index, l.entry_id + g AS entry_id, {_HASH} AS hash"  # noqa: S608
        f" FROM audit_leaf l {_APART} {within})"
    )


NODES = f"""(SELECT l.level, l."offset" + g AS "offset", {_HASH} AS hash
    FROM audit_node l {_APART})"""  # noqa: S608
"""A table of (level, offset, hash), a row a node."""


def index_of(entry: str) -> str:
    """The place of the entry with this id, NULL if it is not sealed: one short range of the index
    by entries, whatever the planner thinks of it."""
    return f"""(SELECT l.index + {entry} - l.entry_id FROM audit_leaf l
        WHERE l.entry_id <= {entry} AND l.entry_id > {entry} - {RUN}
            AND l.entry_id + {COUNT} > {entry} AND l.index >= 0
        ORDER BY l.entry_id DESC LIMIT 1)"""  # noqa: S608


SIZE = f"""
SELECT coalesce((
    SELECT l.index + {COUNT} FROM audit_leaf l ORDER BY l.index DESC LIMIT 1
), 0)
"""  # noqa: S608
"""How many leaves there are."""


def sealed(start: str, stop: str) -> str:
    """The ids from `start` up to `stop`, SQL both, that are sealed, as one multirange. An entry is
    looked for in it at a fraction of what a probe of the index costs. A row before the first leaf
    is none of the tree, and seals nothing."""
    return f"""(
        SELECT coalesce(range_agg(int8range(l.entry_id, l.entry_id + {COUNT})), '{{}}')
        FROM audit_leaf l
        WHERE l.entry_id >= {_begins(start)} AND l.entry_id <= {stop} AND l.index >= 0)"""  # noqa: S608


SEALED_IN_PLACE = f"""(
    SELECT coalesce(range_agg(int8range(l.entry_id, l.entry_id + l.count)), '{{}}')
    FROM (SELECT l.index, l.entry_id, {COUNT} AS count,
        lag(l.index + {COUNT}) OVER (ORDER BY l.index) AS before FROM audit_leaf l) l
    WHERE l.index >= greatest(l.before, 0))"""  # noqa: S608
"""All ids that are sealed, but those of rows that lie within another or before the first: such a
row was put there by hand, or an entry could be kept from the tree by it."""
