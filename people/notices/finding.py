"""Matters found anew: what there is now beside what was there a minute ago. Set-based."""

import logging
from collections.abc import Sequence
from typing import Any

from django.db import connection, transaction

from people.notices.kinds import Found, Kind, kinds
from people.notices.models import Beginning

logger = logging.getLogger(__name__)
LOCK = "people.notices"
TITLE, WORDS = 200, 2_000  # characters

ARISE = """
INSERT INTO people_matter AS m (kind, key, title, words, url, sites, to_id, not_for, early,
    arose_at)
SELECT %(kind)s, f.key, f.title, f.words, f.url,
    CASE WHEN f.sites IS NOT NULL THEN string_to_array(f.sites, ',')::bigint[] END,
    f.to_id, coalesce(string_to_array(f.not_for, ',')::bigint[], '{}'), %(early)s,
    least(f.since, statement_timestamp())
FROM unnest(%(keys)s::text[], %(titles)s::text[], %(words)s::text[], %(urls)s::text[],
    %(sites)s::text[], %(to)s::bigint[], %(not_for)s::text[], %(since)s::timestamptz[])
    f(key, title, words, url, sites, to_id, not_for, since)
ON CONFLICT (kind, key) WHERE ended_at IS NULL DO UPDATE
SET title = excluded.title, words = excluded.words, url = excluded.url, sites = excluded.sites,
    to_id = excluded.to_id, not_for = excluded.not_for
WHERE (m.title, m.words, m.url, m.sites, m.to_id, m.not_for) IS DISTINCT FROM (excluded.title,
    excluded.words, excluded.url, excluded.sites, excluded.to_id, excluded.not_for)
"""
END = """
UPDATE people_matter m SET ended_at = statement_timestamp()
WHERE m.kind = %(kind)s AND m.ended_at IS NULL
    AND NOT EXISTS (SELECT 1 FROM unnest(%(keys)s::text[]) f(key) WHERE f.key = m.key)
"""
BEGIN = "INSERT INTO people_beginning (kind) VALUES (%s) ON CONFLICT DO NOTHING"
GONE = "UPDATE people_matter SET ended_at = now() WHERE ended_at IS NULL AND kind <> ALL(%s)"


def find_matters() -> int:
    """Look for matters of every kind; how many are open afterwards. Repeating does no harm.

    What is there the first time that its kind is looked for is early: people hear of it together.
    A kind that can't be looked for keeps what it had, and leaves the others alone.
    """
    known = kinds()
    begun = set(Beginning.objects.values_list("kind", flat=True))
    for kind in known.values():
        try:
            _find(kind, begun=kind.code in begun)
        except Exception:
            logger.exception("No matters of the kind %s could be looked for", kind.code)
    with connection.cursor() as cursor:
        cursor.execute(GONE, [list(known)])
        cursor.execute("SELECT count(*) FROM people_matter WHERE ended_at IS NULL")
        return int(cursor.fetchone()[0])


def _find(kind: Kind, *, begun: bool) -> None:
    # One after the other: of two that look at once, the one that looked first must not write last.
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [LOCK])
        found = list({each.key: each for each in kind.find()}.values())
        if not begun:
            cursor.execute(BEGIN, [kind.code])
        early: bool = not begun and cursor.rowcount == 1
        given: dict[str, Any] = {"kind": kind.code, "early": early, **_columns(found)}
        cursor.execute(END, given)
        if found:
            cursor.execute(ARISE, given)


def _columns(found: Sequence[Found]) -> dict[str, Sequence[object]]:
    return {
        "keys": [each.key for each in found],
        "titles": [one_line(each.title)[:TITLE] for each in found],
        "words": [each.words[:WORDS] for each in found],
        "urls": [each.url for each in found],
        "sites": [None if each.sites is None else _listed(each.sites) for each in found],
        "to": [each.to for each in found],
        "not_for": [_listed(each.not_for) or None for each in found],
        "since": [each.since for each in found],
    }


def _listed(ids: Sequence[int]) -> str:
    return ",".join(map(str, ids))


def one_line(text: str) -> str:
    """Without line breaks: it becomes the subject of a mail."""
    return " ".join(text.split())
