"""The history's partitions: which there are, and a new one for a new month.

By id and not by time: ids keep their one primary key, every question walks them, and a page in
their order ends in the newest partition. A month begins at the first id after the roll into it.

Migrations refer to the SQL at the end: keep it as it is.
"""

import time
from dataclasses import dataclass

from django.db import connection

STALE = 600  # seconds

_PARTITIONS = "SELECT name, month, first, stop FROM audit_partitions()"


@dataclass(frozen=True, slots=True)
class Partition:
    """Ids from `first` up to but not including `stop`; None is no bound.

    `month`, "2026-11", is the one it was opened in. It is open while `stop` is None.
    """

    name: str
    month: str
    first: int | None
    stop: int | None


def partitions() -> list[Partition]:
    """All of them, oldest first."""
    with connection.cursor() as cursor:
        cursor.execute(_PARTITIONS)
        return [Partition(*row) for row in cursor.fetchall()]


def roll() -> str | None:
    """Open a partition for this month (UTC) if it has none yet, and close the one before.

    Its name; "" if there was nothing to do; None if the history was in use for too long. Safe
    with many callers. Where it is not called for months, one partition holds those months.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT audit_roll()")
        name: str | None = cursor.fetchone()[0]
    return name


class _Bounds:
    """Where partitions begin, remembered: there is one more a month, or some fewer at times."""

    def __init__(self) -> None:
        self._bounds: list[int] = []
        self._until = 0.0

    def now(self) -> list[int]:
        if time.monotonic() > self._until:
            self._bounds = [one.first for one in partitions() if one.first is not None]
            self._until = time.monotonic() + STALE
        return self._bounds


_bounds = _Bounds()


def bounds() -> list[int]:
    """The first ids of all partitions but the oldest, in order; up to ten minutes old.

    They decide how a question is put, never what is answered: any ids would do for that.
    """
    return _bounds.now()


PARTITIONS = r"""
CREATE FUNCTION audit_partitions(OUT name text, OUT month text, OUT first bigint, OUT stop bigint)
RETURNS SETOF record LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
-- Oldest first. Ids from `first` up to but not including `stop`; null is no bound.
SELECT relname, replace(right(relname, 7), '_', '-'), bound[1]::bigint, bound[2]::bigint
FROM (
    SELECT c.relname, regexp_match(pg_get_expr(c.relpartbound, c.oid),
        'FROM \((?:''(-?\d+)''|MINVALUE)\) TO \((?:''(-?\d+)''|MAXVALUE)\)') AS bound
    FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid
    WHERE i.inhparent = 'audit_entry'::regclass
) p ORDER BY bound[1]::bigint NULLS FIRST
$$;
"""

GUARD = """
CREATE FUNCTION audit_guard_partition(part text) RETURNS void LANGUAGE plpgsql
SET search_path = public, pg_temp AS $$
-- Row triggers come from the table itself, those on statements do not. And nobody but the owner
-- has any right to a partition directly, not even what default privileges give.
DECLARE grantee text;
BEGIN
    EXECUTE format('CREATE TRIGGER entry_whole BEFORE TRUNCATE ON %I FOR EACH STATEMENT'
        ' EXECUTE FUNCTION pgtrigger_entry_whole_0a2fb()', part);
    FOR grantee IN
        SELECT DISTINCT CASE a.grantee WHEN 0 THEN 'PUBLIC' ELSE a.grantee::regrole::text END
        FROM pg_class c, aclexplode(c.relacl) a
        WHERE c.oid = format('%I', part)::regclass AND a.grantee <> c.relowner
    LOOP
        EXECUTE format('REVOKE ALL ON %I FROM %s', part, grantee);
    END LOOP;
END $$;
REVOKE ALL ON FUNCTION audit_guard_partition(text) FROM PUBLIC;
"""

# Who writes holds a lock on the table before drawing an id and until the end of the transaction.
# Once ours is granted nobody has drawn an id that is still to be written, so the bound is final.
ROLL = """
CREATE FUNCTION audit_roll() RETURNS text LANGUAGE plpgsql SECURITY DEFINER
SET search_path = public, pg_temp SET timezone = 'UTC' SET lock_timeout = '2s' AS $$
-- In a new month: closes the open partition and opens the month's own; returns its name.
-- '' if the month has one, null if the table was in use for too long: then call again.
DECLARE
    month text := to_char(clock_timestamp(), 'YYYY_MM');
    made text := 'audit_entry_' || month;
    was record;
    used boolean;
    bound bigint;
BEGIN
    SELECT * INTO STRICT was FROM audit_partitions() WHERE stop IS NULL;
    IF was.name >= made THEN RETURN ''; END IF;
    BEGIN
        LOCK TABLE audit_entry IN ACCESS EXCLUSIVE MODE;
    EXCEPTION WHEN lock_not_available THEN RETURN NULL;
    END;
    SELECT * INTO STRICT was FROM audit_partitions() WHERE stop IS NULL;
    IF was.name >= made THEN RETURN ''; END IF;
    EXECUTE format('SELECT EXISTS (SELECT FROM %I)', was.name) INTO used;
    IF NOT used THEN
        EXECUTE format('ALTER TABLE %I RENAME TO %I', was.name, made);
        RETURN made;
    END IF;
    bound := nextval(pg_get_serial_sequence('audit_entry', 'id'));
    EXECUTE format('ALTER TABLE audit_entry DETACH PARTITION %I', was.name);
    EXECUTE format('ALTER TABLE audit_entry ATTACH PARTITION %I FOR VALUES FROM (%s) TO (%s)',
        was.name, coalesce(was.first::text, 'MINVALUE'), bound);
    EXECUTE format('CREATE TABLE %I PARTITION OF audit_entry FOR VALUES FROM (%s) TO (MAXVALUE)',
        made, bound);
    PERFORM audit_guard_partition(made);
    RETURN made;
END $$;
"""

# What is there becomes the first partition as it is: nothing is copied, nothing is scanned.
CONVERT = """
DO $$
DECLARE
    part text := (SELECT 'audit_entry_'
        || to_char(coalesce(min(at), clock_timestamp()) AT TIME ZONE 'UTC', 'YYYY_MM')
        FROM audit_entry);
    indexes text[] := (SELECT array_agg(pg_get_indexdef(indexrelid)) FROM pg_index
        WHERE indrelid = 'audit_entry'::regclass AND NOT indisprimary);
    triggers text[] := (SELECT array_agg(ARRAY[tgname::text, pg_get_triggerdef(oid),
            obj_description(oid, 'pg_trigger')]) FROM pg_trigger
        WHERE tgrelid = 'audit_entry'::regclass AND NOT tgisinternal);
    last bigint; called boolean; one text; made text[];
BEGIN
    SELECT last_value, is_called INTO last, called FROM audit_entry_id_seq;
    FOREACH made SLICE 1 IN ARRAY triggers LOOP
        EXECUTE format('DROP TRIGGER %I ON audit_entry', made[1]);
    END LOOP;
    FOR one IN SELECT relname FROM pg_index JOIN pg_class ON oid = indexrelid
        WHERE indrelid = 'audit_entry'::regclass
    LOOP
        EXECUTE format('ALTER INDEX %I RENAME TO %I', one,
            part || '_' || regexp_replace(one, '^(audit_)?entry_', ''));
    END LOOP;
    ALTER TABLE audit_entry ALTER COLUMN id DROP IDENTITY;
    EXECUTE format('ALTER TABLE audit_entry RENAME TO %I', part);
    EXECUTE format('CREATE TABLE audit_entry (LIKE %I INCLUDING DEFAULTS INCLUDING CONSTRAINTS)'
        ' PARTITION BY RANGE (id)', part);
    ALTER TABLE audit_entry ALTER COLUMN id
        ADD GENERATED ALWAYS AS IDENTITY (SEQUENCE NAME audit_entry_id_seq);
    PERFORM setval('audit_entry_id_seq', last, called);
    ALTER TABLE audit_entry ADD CONSTRAINT audit_entry_pkey PRIMARY KEY (id);
    FOREACH one IN ARRAY indexes LOOP EXECUTE one; END LOOP;
    EXECUTE format('ALTER TABLE audit_entry ATTACH PARTITION %I'
        ' FOR VALUES FROM (MINVALUE) TO (MAXVALUE)', part);
    FOREACH made SLICE 1 IN ARRAY triggers LOOP
        EXECUTE made[2];
        EXECUTE format('COMMENT ON TRIGGER %I ON audit_entry IS %L', made[1], made[3]);
    END LOOP;
    PERFORM audit_guard_partition(part);
END $$;
"""

CREATE = PARTITIONS + GUARD + ROLL
