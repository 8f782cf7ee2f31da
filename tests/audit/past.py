"""A long history, made up in one statement, for the questions put to it."""

from datetime import UTC, datetime

from django.db import connection

# Ten years, evenly. The newest tenth is of two sites and one action only, so that a plan which
# trusts in finding the rest among the newest entries has to read past a tenth of the table.
BEGAN = datetime(2015, 1, 1, tzinfo=UTC)
ENDED = datetime(2025, 1, 1, tzinfo=UTC)
SQL = """
INSERT INTO audit_entry (at, txid, db_role, actor_id, actor, role, road, action, operation,
    table_name, row_id, subject_type, subject_id, subject, site_id, parameter, unit, changes)
SELECT %(began)s + (%(ended)s - %(began)s) * (g::float8 / %(count)s), g, 'program',
    1 + g %% 40, 'Person ' || 1 + g %% 40, 'shop lead', 'page',
    CASE WHEN g > 0.9 * %(count)s THEN 'slot.read_back'
         ELSE (ARRAY['version.approved', 'slot.read_back', 'site.changed'])[1 + g %% 3] END,
    'changed', 'stations_slot', g, 'slot', 1 + g %% 5000, 'Slot ' || 1 + g %% 5000,
    CASE WHEN g > 0.9 * %(count)s THEN 1 + g %% 2
         WHEN g %% 10 > 0 THEN 1 + g %% 300 END,
    CASE WHEN g < 0.5 * %(count)s AND g %% 7 = 0 THEN 'brew_temperature' END, 'Cel',
    jsonb_build_object('target',
        jsonb_build_array('92.0', (90 + g %% 50 / 10.0)::numeric(6, 1)::text))
FROM generate_series(1, %(count)s) g
"""


def write(count: int) -> None:
    """`count` entries. The triggers stand aside for it, as only a superuser can have them do."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(SQL, {"count": count, "began": BEGAN, "ended": ENDED})
        cursor.execute("SET LOCAL session_replication_role = origin")
        cursor.execute("ANALYZE audit_entry")
