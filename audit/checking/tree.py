"""The stored tree, node by node: what only the server that has it can check.

Nodes are derived data that no verdict about entries rests on. But proofs and receipts are made of
them, so that one that was altered makes a true entry look false to whoever checks its receipt.
"""

from django.db import connection

from audit.ledger.bundle.report import Kind, Report
from audit.sealing import store
from audit.sealing.runs import NODES, leaves

NAMED = 5

# Each node is the hash of its two children (RFC 9162 section 2.1.1); one statement, one moment.
_NODES = rf"""
WITH nodes AS MATERIALIZED {NODES}, below AS (
    SELECT 0 AS level, index AS place, hash FROM {leaves()} l
    UNION ALL SELECT level, "offset", hash FROM nodes
)
SELECT n.level, n."offset", count(*) OVER () FROM nodes n
LEFT JOIN below a ON a.level = n.level - 1 AND a.place = 2 * n."offset"
LEFT JOIN below b ON b.level = n.level - 1 AND b.place = 2 * n."offset" + 1
WHERE n.hash IS DISTINCT FROM sha256('\x01'::bytea || a.hash || b.hash)
ORDER BY 1, 2 LIMIT %s
"""  # noqa: S608  our own SQL
_COUNTED = f"""
SELECT n.level, count(DISTINCT n."offset") FROM {NODES} n GROUP BY n.level
"""  # noqa: S608  our own SQL


def check_tree(report: Report) -> None:
    """Add to the report nodes that are not the hash of what lies below them, and missing ones."""
    size = store.size()
    with connection.cursor() as cursor:
        cursor.execute(_NODES, [NAMED])
        wrong = cursor.fetchall()
        cursor.execute(_COUNTED)
        there = dict(cursor.fetchall())
    if wrong:
        places = ", ".join(f"{level}/{place}" for level, place, _ in wrong)
        words = f"{_nodes(wrong[0][2])} not what lies below in the stored tree: {places}"
        report.add(Kind.UNREADABLE, f"{words}. Receipts made of them fit no entry")
    for level in range(1, size.bit_length()):
        lost = (size >> level) - there.get(level, 0)
        if lost > 0:  # more there may be, sealed meanwhile
            words = f"{_nodes(lost)} gone from level {level} of the stored tree"
            report.add(Kind.UNREADABLE, words)


def _nodes(count: int) -> str:
    return "1 node is" if count == 1 else f"{count:,} nodes are"
