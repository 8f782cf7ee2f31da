"""The SQL of the comparison. Three pieces that every question is put together from.

`entries`: what the history says of governed rows, under today's names of tables and columns.
`known`:   of each row, the changes that made it with all later ones laid over them.
`standing`: each row there is, as a trigger would write it into an entry if it were made now.
"""

from collections.abc import Iterable, Sequence

from audit.capture.governed import literal, whole_row
from audit.reading.labels import FORMER
from audit.reconciling.tables import GovernedTable, former_columns

KEPT = 25  # differences of one kind in one table that are listed; of more, only how many


SETTINGS = """
SELECT set_config('timezone', 'UTC', true), set_config('extra_float_digits', '1', true),
    set_config('work_mem', '128MB', true), set_config('hash_mem_multiplier', '4', true),
    set_config('enable_mergejoin', 'off', true), set_config('enable_nestloop', 'off', true)
"""
"""For the transaction of any of these: values are spelled as the capture's functions spell them,
and rows are joined by hashing. How many rows a step leaves can't be foreseen, and a join by the
table's name first, or row by row, takes quadratic time."""

_ENTRIES = """
    SELECT id, table_name, row_id, operation, changes, site_id, subject_id, parameter, true AS whole
    FROM audit_entry
"""
_SOURCE = f"""{_ENTRIES} UNION ALL
    SELECT through, table_name, row_id, operation, changes, NULL, NULL, NULL, false
    FROM audit_carried
"""  # noqa: S608  constants


def entries(tables: Sequence[GovernedTable], *, carried: bool = True) -> str:
    """A WITH item: (id, t, r, op, c) of every entry about a row of these tables.

    What is carried on from archives counts as the archive's last entry about each row.
    """
    names = {table.name for table in tables}
    former = {old: now for old, now in FORMER.items() if now in names}
    listed = ", ".join(literal(name) for name in sorted({*names, *former}))
    return f"""entries AS NOT MATERIALIZED (
    SELECT e.id, {_today(former)} AS t, e.row_id AS r, e.operation AS op, {_changes(tables)} AS c
    FROM ({_SOURCE if carried else _ENTRIES}) e WHERE e.table_name IN ({listed})
)"""  # noqa: S608  names of the models, no input


def _today(former: dict[str, str]) -> str:
    if not former:
        return "e.table_name"
    whens = " ".join(f"WHEN {literal(old)} THEN {literal(now)}" for old, now in former.items())
    return f"CASE e.table_name {whens} ELSE e.table_name END"


def _changes(tables: Iterable[GovernedTable]) -> str:
    """Changes under today's names, with what stands in the entry's own columns put beside them."""
    whens = []
    for table in tables:
        names = [table.name, *(old for old, now in FORMER.items() if now == table.name)]
        changes = _renamed(table)
        for entry_column, column in table.stated.items():
            value = f"e.{entry_column}::text" if column.spelling == "text" else f"e.{entry_column}"
            pair = f"jsonb_build_array(NULL, {value})"
            pair = f"jsonb_build_object({literal(column.name)}, {pair})"
            changes += f" || CASE WHEN e.whole THEN {pair} ELSE '{{}}' END"
        if changes != "e.changes":
            listed = ", ".join(literal(name) for name in names)
            whens.append(f"WHEN e.table_name IN ({listed}) THEN {changes}")
    return f"CASE {' '.join(whens)} ELSE e.changes END" if whens else "e.changes"


def _renamed(table: GovernedTable) -> str:
    changes = "e.changes"
    for old, now in former_columns(table.name).items():
        there = f"jsonb_build_object({literal(now)}, e.changes->{literal(old)})"
        changes = (
            f"CASE WHEN e.changes ? {literal(old)}"
            f" THEN ({changes} - {literal(old)}) || {there} ELSE {changes} END"
        )
    return changes


def recorded(tables: Iterable[GovernedTable], *, stated: bool = True) -> str:
    """A WITH item: (t, k, number) of the columns that are compared; `number` says how.

    Without `stated`, of those alone whose every change is written with the value before.
    """
    rows = [
        f"({literal(table.name)}, {literal(column.name)}, {table.is_number(column)})"
        for table in tables
        for column in (table.every if stated else table.columns)
    ]
    return f"recorded (t, k, number) AS (VALUES {', '.join(rows)})"


def known(tables: Sequence[GovernedTable]) -> str:
    """WITH items up to `known` (t, r, last, gone, said): what the history says of each row.

    `said` is {column: [null, value]}; a column that is not there is NULL. A row is `gone` if it was
    removed after it was last made.
    """
    return f"""{entries(tables)}, {recorded(tables)}, lives AS (
    SELECT t, r, max(id) AS last, max(id) FILTER (WHERE op = 'created') AS born,
        max(id) FILTER (WHERE op = 'removed') AS died, bool_or(op = 'changed') AS changed
    FROM entries GROUP BY t, r
), later AS (
    SELECT e.t, e.r, jsonb_object_agg(p.key, jsonb_build_array(NULL, p.value->1) ORDER BY e.id) AS c
    FROM entries e JOIN lives l ON l.t = e.t AND l.r = e.r
    CROSS JOIN LATERAL jsonb_each(e.c) p
    WHERE l.changed AND e.op = 'changed' AND e.id > coalesce(l.born, 0)
    GROUP BY e.t, e.r
), known AS (
    SELECT l.t, l.r, l.last, coalesce(l.died > coalesce(l.born, 0), false) AS gone,
        CASE WHEN p.c IS NULL THEN b.c ELSE coalesce(b.c, '{{}}') || p.c END AS said
    FROM lives l LEFT JOIN entries b ON b.op = 'created' AND b.t = l.t AND b.r = l.r AND b.id = l.born
    LEFT JOIN later p ON p.t = l.t AND p.r = l.r
)"""  # noqa: S608, E501  names of the models, no input


def standing(tables: Iterable[GovernedTable]) -> str:
    """A WITH item: (t, r, v) of every row there is, spelled as in an entry that makes it."""
    parts = [
        f"SELECT {literal(table.name)} AS t, n.{table.key}::bigint AS r,"  # noqa: S608
        f" {whole_row(table.every, created=True)} AS v FROM {table.name} n"
        for table in tables
    ]
    return f"standing AS ({' UNION ALL '.join(parts)})"


LOST, UNMADE, ALTERED, UNSEEN = "lost", "unmade", "altered", "unseen"


def _differ(a: str, b: str) -> str:
    """SQL over `recorded` c: whether two values, as jsonb, are not the same.

    As the capture compares them: numbers as numbers, so that 1.0 equals 1.00.
    """
    number = "pg_input_is_valid({0} #>> '{{}}', 'numeric')"
    return f"""CASE WHEN coalesce({a}, 'null') = coalesce({b}, 'null') THEN false
        WHEN c.number AND {number.format(a)} AND {number.format(b)}
            THEN ({a} #>> '{{}}')::numeric <> ({b} #>> '{{}}')::numeric
        ELSE true END"""


def _bounded(kept: int) -> str:
    """The last WITH item and the SELECT: the first of each kind in each table, and how many."""
    return f"""counted AS (
    SELECT *, count(*) OVER w AS total, row_number() OVER (w ORDER BY r, k) AS place
    FROM found WINDOW w AS (PARTITION BY t, kind)
)
SELECT kind, t, r, k, said, stands, last, total FROM counted WHERE place <= {kept}
ORDER BY t, kind, r, k"""  # noqa: S608  names of the models, no input


def differences(tables: Sequence[GovernedTable]) -> str:
    """(kind, t, r, k, said, stands, last, total): where history and tables do not say the same."""
    return f"""WITH {known(tables)}, {standing(tables)}, apart AS (
    SELECT coalesce(k.t, n.t) AS t, coalesce(k.r, n.r) AS r, k.last,
        CASE WHEN n.r IS NULL THEN '{LOST}' WHEN k.r IS NULL OR k.gone THEN '{UNMADE}'
            ELSE '{ALTERED}' END AS kind,
        coalesce(k.said, '{{}}') AS said, n.v AS stands
    FROM known k FULL JOIN standing n ON n.t = k.t AND n.r = k.r
    WHERE k.r IS NULL OR (n.r IS NULL AND NOT k.gone)
        OR (n.r IS NOT NULL AND (k.gone OR k.said IS DISTINCT FROM n.v))
), found AS (
    SELECT kind, t, r, '' AS k, NULL::jsonb AS said, NULL::jsonb AS stands, last
    FROM apart WHERE kind <> '{ALTERED}'
    UNION ALL
    SELECT a.kind, a.t, a.r, c.k, a.said->c.k->1, a.stands->c.k->1, a.last
    FROM apart a JOIN recorded c ON c.t = a.t
    WHERE a.kind = '{ALTERED}' AND {_differ("(a.said->c.k->1)", "(a.stands->c.k->1)")}
), {_bounded(KEPT)}"""  # noqa: S608  names of the models, no input


def unseen(tables: Sequence[GovernedTable]) -> str:
    """The same columns: entries whose value before is not the one that history gave until then.

    Somebody had changed the row meanwhile without an entry; `last` is the entry that shows it.
    """
    return f"""WITH {entries(tables)}, {recorded(tables, stated=False)}, births AS MATERIALIZED (
    SELECT t, r, min(id) AS born FROM entries WHERE op IN ('created', 'changed', 'removed')
    GROUP BY t, r
    HAVING count(*) FILTER (WHERE op = 'created') = 1 AND bool_or(op <> 'created')
        AND min(id) = min(id) FILTER (WHERE op = 'created')
), steps AS MATERIALIZED (
    SELECT e.t, e.r, e.id, p.key AS k, p.value->0 AS stood, lag(e.id) OVER step AS before,
        lag(p.value->1) OVER step AS said
    FROM entries e CROSS JOIN LATERAL jsonb_each(e.c) p
    WHERE e.op IN ('changed', 'removed')
    WINDOW step AS (PARTITION BY e.t, e.r, p.key ORDER BY e.id)
), told AS MATERIALIZED (
    SELECT s.t, s.r, s.id, s.k, s.stood,
        CASE WHEN s.before IS NULL THEN b.c->s.k->1 ELSE s.said END AS said
    FROM steps s JOIN births l ON l.t = s.t AND l.r = s.r
    JOIN entries b ON b.op = 'created' AND b.t = l.t AND b.r = l.r AND b.id = l.born
), found AS (
    SELECT '{UNSEEN}' AS kind, s.t, s.r, s.k, s.said, s.stood AS stands, s.id AS last
    FROM told s JOIN recorded c ON c.t = s.t AND c.k = s.k
    WHERE {_differ("s.said", "s.stood")}
), {_bounded(KEPT)}"""  # noqa: S608  names of the models, no input
