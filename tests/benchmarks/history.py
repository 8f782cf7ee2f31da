"""Page one of the history, and the board, beside the bare SQL of what they show."""

from django.db import connection
from django.test import Client

from tests.benchmarks.chain import Chain
from tests.benchmarks.table import Measurement, p95

CALLS = 40

# Entries as the program writes them, spread over subjects, actors, sites, actions and parameters.
FILL = """
INSERT INTO audit_entry (at, actor_id, actor, role, road, db_role, request_id, action, operation,
    table_name, row_id, subject_type, subject_id, subject, site_id, parameter, unit, changes,
    reason)
SELECT now() - (%(n)s - i) * interval '13 seconds', i %% 40, 'Person ' || i %% 40, 'shop_lead',
    'page', 'app', '', (ARRAY['version.edited', 'slot.read_back', 'publication.run'])[1 + i %% 3],
    'changed', 'recipes_formulavalue', i, 'recipe', i %% 500, 'version 3', (i %% %(sites)s) + 1,
    (ARRAY['brew_temperature', 'dose_mass', 'water_volume', NULL])[1 + i %% 4], '',
    '{"target": ["93.0", "92.5"]}', 'Sharp'
FROM generate_series(1, %(n)s) AS i
"""

PAGE = "SELECT * FROM audit_entry ORDER BY id DESC LIMIT 51"
FILTERED = (
    "SELECT * FROM audit_entry WHERE parameter = 'brew_temperature' ORDER BY id DESC LIMIT 51"
)
BOARD = """
SELECT site_id, manner, verdict, count(*) FROM stations_placement WHERE state = 'in_force'
GROUP BY 1, 2, 3
"""


def fill(entries: int, sites: int) -> None:
    """Old history in bulk; only here do the triggers that stamp and guard stand aside."""
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        cursor.execute(FILL, {"n": entries, "sites": sites})
        cursor.execute("SET session_replication_role = origin")
        cursor.execute("VACUUM ANALYZE audit_entry")


def _bare(sql: str) -> float:
    def run() -> None:
        with connection.cursor() as cursor:
            cursor.execute(sql)
            cursor.fetchall()

    return p95(run, CALLS)


def _page(browser: Client, url: str) -> float:
    def run() -> None:
        answer = browser.get(url)
        assert answer.status_code == 200, (url, answer.status_code)

    return p95(run, CALLS)


def rows(chain: Chain, entries: int) -> list[Measurement]:
    """The reading lines of the table: pages a second at the 95th percentile.

    Half of the entries are there for page one, all of them for the filtered one.
    """
    browser = Client()
    browser.force_login(chain.cast.owner)
    half = entries // 2
    fill(half, chain.sites)
    lines = [
        _line(browser, f"page one of history at {half:,} entries, p95", "/history/", PAGE),
        _line(browser, f"board at {chain.sites:,} sites, p95", "/board/", BOARD),
    ]
    fill(half, chain.sites)
    name = f"page one of one parameter at {entries:,} entries, p95"
    return [*lines, _line(browser, name, "/history/?parameter=brew_temperature", FILTERED)]


def _line(browser: Client, name: str, url: str, sql: str) -> Measurement:
    ours, bare = _page(browser, url), _bare(sql)
    return Measurement(name, 1 / ours, "pages/s", ours / bare)
