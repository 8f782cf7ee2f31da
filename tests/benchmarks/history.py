"""Page one of the history by every filter, and the board, beside the bare SQL of what they show."""

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.benchmarks.chain import Chain
from tests.benchmarks.table import Measurement, p95

CALLS = 40

# Entries as the program writes them, spread over subjects, people, sites, actions and parameters
# independently of one another; one person has only three of them, and a few were refused.
FILL = """
INSERT INTO audit_entry (at, actor_id, actor, role, road, db_role, request_id, action, operation,
    table_name, row_id, subject_type, subject_id, subject, site_id, parameter, unit, changes,
    reason)
SELECT now() - (%(n)s - i) * interval '13 seconds',
    CASE WHEN i %% (%(n)s / 3) = 1 THEN %(rare)s WHEN a < 25 THEN %(busy)s ELSE 1000 + a END,
    'Person ' || a, 'shop_lead', 'page', 'app', '',
    (ARRAY['version.edited', 'slot.read_back', 'publication.run'])[1 + b %% 3],
    CASE WHEN b < 2 THEN 'refused' ELSE 'changed' END,
    'recipes_formulavalue', i, 'recipe', c %% 500, 'version 3', 1 + d %% %(sites)s,
    (ARRAY['brew_temperature', 'dose_mass', 'water_volume', NULL])[1 + a %% 4], '',
    '{"target": ["93.0", "92.5"]}', 'Sharp'
FROM generate_series(1, %(n)s) AS i
CROSS JOIN LATERAL (
    SELECT abs(hashint8(i) %% 1000) AS a, abs(hashint8(-i) %% 1000) AS b,
        abs(hashint8(i * 3) %% 10000) AS c, abs(hashint8(i * 7) %% 1000000) AS d
) h
"""
# Everything up to the newest entry counts as sealed: pages ask for no more than the floor.
SEALED = """
INSERT INTO audit_checkpoint (size, root, note, floor_txid, floor_id)
SELECT 0, '', '', (pg_current_xact_id()::text)::bigint, max(id) FROM audit_entry
"""

PAGE = "SELECT * FROM audit_entry ORDER BY id DESC LIMIT 51"
# By filter, the bare SQL of what the page shows.
FILTERS = {
    "everything": ("", ""),
    "a site": ("site=7", "site_id = 7"),
    "one parameter": ("parameter=brew_temperature", "parameter = 'brew_temperature'"),
    "what was refused": ("outcome=refused", "operation = 'refused'"),
    "a person with three entries": ("person={rare}", "actor_id = {rare}"),
    "a parameter at a site": (
        "site=7&parameter=brew_temperature", "site_id = 7 AND parameter = 'brew_temperature'",
    ),
    "what one person was refused": (
        "outcome=refused&person={busy}", "operation = 'refused' AND actor_id = {busy}",
    ),
    "what that person never did": (
        "person={rare}&action=slot.read_back&site=7",
        "actor_id = {rare} AND action = 'slot.read_back' AND site_id = 7",
    ),
}  # fmt: skip
BOARD = """
SELECT site_id, manner, verdict, count(*) FROM stations_placement WHERE state = 'in_force'
GROUP BY 1, 2, 3
"""


def fill(entries: int, sites: int, *, rare: int = 1, busy: int = 2) -> None:
    """Old history in bulk; only here do the triggers that stamp and guard stand aside."""
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        cursor.execute(FILL, {"n": entries, "sites": sites, "rare": rare, "busy": busy})
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
    """The reading lines of the table: pages a second at the 95th percentile, by every filter."""
    browser = Client()
    browser.force_login(chain.cast.owner)
    people = {"rare": chain.cast.technician.pk, "busy": chain.cast.barista.pk}
    fill(entries, chain.sites, **people)
    unsealed = page_line(
        browser, f"history, nothing sealed, at {entries:,} entries", "/history/", PAGE
    )
    with connection.cursor() as cursor:
        cursor.execute(SEALED)
    lines = [unsealed]
    for name, (query, where) in FILTERS.items():
        url, condition = f"/history/?{query.format(**people)}", where.format(**people)
        sql = PAGE.replace(" ORDER", f" WHERE {condition} ORDER") if condition else PAGE
        require_indexes(browser, url)
        lines.append(page_line(browser, f"history, {name}, at {entries:,} entries", url, sql))
    board = page_line(browser, f"board at {chain.sites:,} sites", "/board/", BOARD)
    return [*lines, board]


def page_line(browser: Client, name: str, url: str, sql: str) -> Measurement:
    """A page at the 95th percentile, beside the bare SQL of what it shows."""
    ours, bare = _page(browser, url), _bare(sql)
    return Measurement(f"{name}, p95", 1 / ours, "pages/s", ours / bare)


def require_indexes(browser: Client, url: str) -> None:
    """No question of a page reads the history other than by an index. Raises AssertionError."""
    with CaptureQueriesContext(connection) as seen:
        browser.get(url)
    with connection.cursor() as cursor:
        for query in seen.captured_queries:
            if "audit_entry" in query["sql"]:
                cursor.execute(f"EXPLAIN {query['sql']}")
                plan = "\n".join(line for (line,) in cursor.fetchall())
                assert "Seq Scan on audit_entry" not in plan, (url, plan)
