"""Which questions read all that ever was: told by PostgreSQL's own plans, without the rows.

Statistics are made up: each table that grows with the past is said to hold ten million rows
(``pg_restore_relation_stats``, PostgreSQL 18), so that plans are made as at a large chain's. A
part of a plan that reads such a table without a condition that an index can use, and is not
stopped by a limit above it, takes longer every year; so does one that reads all of a slot's
shots and keeps the newest.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection

ROWS = 10_000_000
# Each grows with every day at the bars, for good. Beside them stand what grows with bars alone.
GROWING = (
    "audit_entry", "audit_leaf", "people_signature", "people_signedcontent",
    "stations_checkshot", "stations_controlsettings", "stations_difference",
    "stations_gatewayevent", "stations_placement", "stations_readback",
)  # fmt: skip
STOPS_LIMIT = {"Sort", "Aggregate", "WindowAgg", "Hash", "Unique", "SetOp", "Materialize"}
# These keep a few of what they read: whoever wants the newest has a limit for each instead.
PICKS = {"Unique", "WindowAgg"}
FEW = 1000  # rows
STATISTICS = """
SELECT pg_restore_relation_stats('schemaname', 'public', 'relname', c.relname::text,
    'relpages', 1, 'reltuples', %s::real)
FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace
    AND (c.relname = ANY(%s) OR c.oid IN (
        SELECT inhrelid FROM pg_inherits WHERE inhparent::regclass::text = ANY(%s)))
    AND c.relkind = 'r'
"""
DISTINCT = """
SELECT pg_restore_attribute_stats('schemaname', 'public', 'relname', %s, 'attname', %s,
    'inherited', false, 'null_frac', 0::real, 'avg_width', 32, 'n_distinct', %s::real)
"""
# How many different values: a formula is translated for thousands of stations, and settings fill
# some slots each.
VALUES = (
    ("stations_controlsettings", "content_digest", 10_000),
    ("stations_placement", "settings_id", -0.1),
)
# What only a part of the rows stands in: it grows with what is open, not with what was.
PARTIAL = "SELECT indexrelid::regclass::text FROM pg_index WHERE indpred IS NOT NULL"


@dataclass(frozen=True)
class Reading:
    """A part of a plan that reads a growing table whole."""

    table: str
    how: str
    filtered: str

    def __str__(self) -> str:
        return f"{self.how} of {self.table} {self.filtered}".strip()


def pretend() -> None:
    """Say that the growing tables are large. Lasts as long as the transaction."""
    with connection.cursor() as cursor:
        cursor.execute(STATISTICS, [ROWS, list(GROWING), list(GROWING)])
        for each in VALUES:
            cursor.execute(DISTINCT, each)
        # A table read whole, although an index would do, is then read for want of one.
        cursor.execute("SET LOCAL enable_seqscan = off")


def partial_indexes() -> set[str]:
    """The names of the indexes over a part of their table."""
    with connection.cursor() as cursor:
        cursor.execute(PARTIAL)
        return {name for (name,) in cursor.fetchall()}


def growing_readings(sql: str, partial: set[str]) -> list[Reading]:
    """What of a question grows with the past."""
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN (FORMAT JSON) {sql.replace('%', '%%')}", [])
        [(found,)] = cursor.fetchall()
    plan = found if isinstance(found, list) else json.loads(found)
    return list(_walk(plan[0]["Plan"], partial, limited=False))


def _walk(
    node: Mapping[str, Any], partial: set[str], *, limited: bool, picked: bool = False
) -> Iterator[Reading]:
    kind: str = node["Node Type"]
    sorted_whole = kind == "Sort" and limited
    limited = (limited or kind == "Limit") and kind not in STOPS_LIMIT
    picked = (picked or sorted_whole or kind in PICKS) and kind != "Limit"
    if _reads_all(node, partial) and not limited:
        yield Reading(_table(node), kind, node.get("Filter", ""))
    elif picked and _reads_many(node, partial):
        yield Reading(_table(node), f"few picked from a whole {kind}", node.get("Index Cond", ""))
    below: Sequence[Mapping[str, Any]] = node.get("Plans", ())
    for each in below:
        # What is asked whether it is there at all, is read to the first.
        first = node.get("Join Type") in ("Semi", "Anti") and each["Parent Relationship"] == "Inner"
        yield from _walk(each, partial, limited=limited or first, picked=picked and not first)


def _reads_many(node: Mapping[str, Any], partial: set[str]) -> bool:
    """Whether it reads more every year of a growing table: all of a slot's, not one by its key."""
    many = _table(node).startswith(GROWING) and node["Plan Rows"] > FEW
    return many and node.get("Index Name", "") not in partial


def _reads_all(node: Mapping[str, Any], partial: set[str]) -> bool:
    if not _table(node).startswith(GROWING):
        return False
    if node["Node Type"] == "Seq Scan":
        return True
    scans = node["Node Type"] in ("Index Scan", "Index Only Scan")
    return scans and "Index Cond" not in node and node["Index Name"] not in partial


def _table(node: Mapping[str, Any]) -> str:
    return str(node.get("Relation Name", ""))
