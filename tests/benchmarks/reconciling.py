"""A reconciliation beside reading what it compares: the entries and the rows."""

from django.db import connection

from audit.reconciling.reconcile import reconcile
from audit.reconciling.report import Kind
from audit.reconciling.tables import GovernedTable, governed_tables
from stations.equipment.models import Station
from tests.benchmarks.chain import Chain
from tests.benchmarks.table import Measurement, medians

SETTINGS, SITES = "stations_controlsettings", "stations_site"

# Settings as placing makes them; the capture writes their entries, as always.
FILL = """
INSERT INTO stations_controlsettings (station_id, title, content_digest, values, made_at)
SELECT %(station)s, 'House espresso, version ' || i %% 40, repeat('ab', 32), jsonb_build_object(
    'water_volume', jsonb_build_object('value', (200 + i %% 90)::text, 'unit', '{pulse}'),
    'brew_temperature', jsonb_build_object('value', '93.0', 'unit', 'Cel')), now()
FROM generate_series(1, %(rows)s) AS i
"""
CHANGE = "UPDATE stations_site SET altitude = altitude + 1"
READ = f"""
SELECT (SELECT sum(length(e.changes::text)) FROM audit_entry e
        WHERE e.table_name IN ('{SETTINGS}', '{SITES}')),
    (SELECT sum(length(n::text)) FROM {SETTINGS} n), (SELECT sum(length(n::text)) FROM {SITES} n)
"""


def rows(chain: Chain, governed: int) -> list[Measurement]:
    """Rows a second, and how many times as long as reading both. Everything agrees, or it fails."""
    fill(chain, governed)
    tables = [table for table in governed_tables() if table.name in {SETTINGS, SITES}]
    ours, limit = medians(lambda: _agree(tables), lambda: _run(READ), rounds=3)
    name = f"reconciliation of {governed:,} governed rows"
    return [Measurement(name, governed / ours, "rows/s", ours / limit)]


def fill(chain: Chain, governed: int) -> None:
    """Rows that were made once, and sites that were changed ten times."""
    station = Station.objects.values_list("pk", flat=True).earliest("pk")
    with connection.cursor() as cursor:
        cursor.execute(FILL, {"station": station, "rows": governed - chain.sites})
        for _ in range(10):
            cursor.execute(CHANGE)
        cursor.execute("VACUUM ANALYZE audit_entry")
        cursor.execute(f"VACUUM ANALYZE {SETTINGS}")


def _agree(tables: list[GovernedTable]) -> None:
    report = reconcile(tables)
    # The bench of placing takes placements away again, and with them what was signed.
    rows = [one for one in report.differences if one.kind != Kind.SIGNATURE]
    assert not rows, rows


def _run(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        cursor.fetchall()
