"""What archived entries said of governed rows, carried on in the database.

Whoever moves months of the history to a file takes away what a reconciliation replays. So what they
said of each row is kept, folded into one line a row, and its SHA-256 goes into the record of the
archive, which is an entry of the history. Rows that were made and removed within the months are
left out: nothing of them should stand.
"""

from collections.abc import Iterator

from django.db import connection

from audit.reconciling import replay
from audit.reconciling.tables import governed_tables

# As replay.known, with the value that stood before the first change as well.
_FOLD = """
INSERT INTO audit_carried (through, table_name, row_id, operation, changes)
WITH {entries}, mine AS MATERIALIZED (
    SELECT * FROM entries WHERE id BETWEEN %(first)s AND %(last)s
), lives AS (
    SELECT t, r, max(id) FILTER (WHERE op = 'created') AS born,
        max(id) FILTER (WHERE op = 'removed') AS died,
        (array_agg(op ORDER BY id))[1] AS begins
    FROM mine GROUP BY t, r
), later AS (
    SELECT m.t, m.r, jsonb_object_agg(p.key, p.value->0 ORDER BY m.id DESC) AS stood,
        jsonb_object_agg(p.key, p.value->1 ORDER BY m.id) AS said
    FROM mine m JOIN lives l ON l.t = m.t AND l.r = m.r CROSS JOIN LATERAL jsonb_each(m.c) p
    WHERE m.op = 'changed' AND m.id > coalesce(l.born, %(first)s - 1)
    GROUP BY m.t, m.r
), folded AS (
    SELECT l.*, (SELECT jsonb_object_agg(key, jsonb_build_array(
            CASE WHEN l.born IS NULL THEN p.stood->key END, p.said->key))
        FROM jsonb_object_keys(p.said) key) AS c
    FROM lives l LEFT JOIN later p ON p.t = l.t AND p.r = l.r
)
SELECT %(last)s, f.t, f.r,
    CASE WHEN f.died > coalesce(f.born, 0) THEN 'removed'
        WHEN f.born IS NOT NULL THEN 'created' ELSE 'changed' END,
    CASE WHEN f.died > coalesce(f.born, 0) THEN '{{}}'
        ELSE coalesce(m.c, '{{}}') || coalesce(f.c, '{{}}') END
FROM folded f LEFT JOIN mine m ON m.t = f.t AND m.r = f.r AND m.id = f.born AND m.op = 'created'
WHERE NOT (f.begins = 'created' AND coalesce(f.died > f.born, false))
"""
_DIGEST = """
SELECT encode(sha256(coalesce(string_agg(sha256(convert_to(
    concat_ws(' ', table_name, row_id, operation, changes), 'UTF8')), ''::bytea
    ORDER BY table_name, row_id, operation), ''::bytea)), 'hex')
FROM audit_carried WHERE through = %s
"""
_ARCHIVES = "SELECT file, last_id, carried FROM audit_archive WHERE carried <> '' ORDER BY id"


def carry(first: int, last: int) -> str:
    """Carry on what the entries of these ids say; returns the digest of it (hexadecimal).

    Run as the tables' owner, in the transaction that takes the entries away.
    """
    sql = _FOLD.format(entries=replay.entries(governed_tables(), carried=False))
    with connection.cursor() as cursor:
        cursor.execute(replay.SETTINGS)
        cursor.execute(sql, {"first": first, "last": last})
    return digest_through(last)


def digest_through(last: int) -> str:
    """The digest of what is carried on from the archive whose last entry has this id."""
    with connection.cursor() as cursor:
        cursor.execute(_DIGEST, [last])
        return str(cursor.fetchone()[0])


def differences() -> Iterator[str]:
    """Archives of which something else is carried on than their record says, a sentence each."""
    with connection.cursor() as cursor:
        cursor.execute(_ARCHIVES)
        archives = cursor.fetchall()
    for file, last, carried in archives:
        if digest_through(last) != carried:
            yield (
                f"What is carried on from the archive {file} is not what its record says: rows "
                "whose history is in it can't be compared."
            )
