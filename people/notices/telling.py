"""Who is told of what now: one statement notes it, another makes the messages.

Recipients are worked out here, not when the matter arose. The database has one notice a matter and
person at most, and a message is made from notices that have none: however often this runs, and
beside whom, nobody is told twice.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import connection, transaction
from django.utils import timezone

from people.mailing.sending import mail_hindrance
from people.notices.finding import LOCK
from people.notices.hearing import HEARD, of_kinds
from people.notices.readers import Reading, as_columns, note_collected, readings
from people.notices.seen import HOLD, opened_by

SINGLY = 3  # matters of one person that go out one by one; more go together

# Whoever has seen it is noted as well, so that it stays so when the mark is gone.
# What was there before anybody was told of its kind would be a flood; left out, a request or an
# alarm might be overlooked for good. So it comes together, with the day's mail.
TELL = (
    "WITH "  # noqa: S608 - constants of ours
    + HEARD.format(wanted="true", who="true")
    + """, marks AS MATERIALIZED (
    SELECT s.person, s.path, max(to_timestamp(s.at)) AS at
    FROM unnest(%(openers)s::bigint[], %(paths)s::text[], %(opened)s::float[]) s(person, path, at)
    GROUP BY s.person, s.path
)
INSERT INTO people_notice (matter_id, person_id, how, seen, made_at)
SELECT h.matter, h.person, c.how, coalesce(mark.at >= o.arose_at, false), now()
FROM heard h
    JOIN open o ON o.id = h.matter
    JOIN unnest(%(people)s::bigint[], %(daily)s::bool[], %(weekly)s::bool[], %(mail)s::bool[])
        p(person, daily, weekly, mail) ON p.person = h.person
    LEFT JOIN people_choice chosen ON chosen.person_id = h.person AND chosen.kind = o.kind
    LEFT JOIN people_noticerule rule ON rule.kind = o.kind
    CROSS JOIN LATERAL (SELECT coalesce(chosen.how, o.usual) AS how) w
    CROSS JOIN LATERAL (
        SELECT CASE WHEN o.early AND p.mail AND w.how IN ('at_once', 'push') THEN 'daily'
            ELSE w.how END AS how) f
    CROSS JOIN LATERAL (SELECT CASE WHEN
        CASE f.how WHEN 'daily' THEN 1 WHEN 'weekly' THEN 2 WHEN 'off' THEN 3 ELSE 0 END
        > CASE rule.at_least WHEN 'at_once' THEN 0 WHEN 'daily' THEN 1 WHEN 'weekly' THEN 2
            ELSE 3 END
        THEN rule.at_least ELSE f.how END AS how) c
    LEFT JOIN marks mark ON mark.person = h.person AND mark.path = split_part(o.url, '#', 1)
WHERE NOT EXISTS (
        SELECT 1 FROM people_notice n WHERE n.matter_id = h.matter AND n.person_id = h.person)
    AND (mark.at >= o.arose_at OR (
        (mark.at IS NULL OR mark.at < %(now)s - %(hold)s::interval)
        AND (p.mail OR c.how = 'push' AND EXISTS (
            SELECT 1 FROM people_device d WHERE d.person_id = h.person))
        AND CASE c.how WHEN 'daily' THEN p.daily WHEN 'weekly' THEN p.weekly WHEN 'off' THEN false
            ELSE o.arose_at <= %(now)s - make_interval(secs => o.wait) END))
ON CONFLICT (matter_id, person_id) DO NOTHING
"""
)

# Nothing is known beforehand of how many matters there are. Guessed too few, a nested loop over all
# of them and everybody takes hours (72,000 slots, 1,000 people) where hashes take seconds.
FOR_MANY = "SET LOCAL enable_nestloop = off; SET LOCAL jit = off; SET LOCAL work_mem = '64MB'"
# Only for that statement: the others of this transaction find single rows.
FOR_FEW = (
    "SET LOCAL enable_nestloop TO DEFAULT; SET LOCAL jit TO DEFAULT; SET LOCAL work_mem TO DEFAULT"
)

# What goes together: each matter by itself, or all that one person hears of in one way.
TOGETHER = """
WITH fresh AS (
    SELECT n.id, n.matter_id, n.person_id, n.how,
        CASE n.how WHEN 'push' THEN 'push' ELSE 'mail' END AS way,
        count(*) OVER one AS many, min(n.matter_id) OVER one AS first
    FROM people_notice n WHERE n.message_id IS NULL AND NOT n.seen
    WINDOW one AS (PARTITION BY n.person_id, n.how)
), named AS (
    SELECT *, CASE WHEN how IN ('at_once', 'push') AND many <= %(singly)s
        THEN 'matter.' || matter_id || '.' || person_id
        ELSE how || '.' || first || '.' || person_id END AS name
    FROM fresh
), made AS (
    INSERT INTO people_message AS m
        (person_id, name, way, how, state, subject, address, said, tries)
    SELECT DISTINCT person_id, name, way, how, 'waiting', '', '', '', 0 FROM named
    ON CONFLICT (name) DO UPDATE SET state = 'waiting', tries = 0, next_at = now(),
        way = excluded.way, how = excluded.how, done_at = NULL
    WHERE m.state IN ('refused', 'dropped')
    RETURNING m.id, m.name
)
UPDATE people_notice n SET message_id = made.id FROM named JOIN made USING (name)
WHERE n.id = named.id
"""


def tell(now: datetime | None = None) -> int:
    """Note who is told of what by this moment, and make the messages; how many notices that were.

    Nobody is told by a way that leads nowhere: what can't be sent yet is told when it can, if it
    lasts until then.
    """
    now = now or timezone.now()
    people = readings(now, mailing=not mail_hindrance())
    opened = opened_by(each.person for each in people)
    given: dict[str, Any] = {
        **of_kinds(),
        **as_columns(people),
        "openers": [person for person, _, _ in opened],
        "paths": [path for _, path, _ in opened],
        "opened": [at for _, _, at in opened],
        "now": now,
        "hold": HOLD,
    }
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [LOCK])
        cursor.execute(FOR_MANY)
        cursor.execute(TELL, given)
        told = cursor.rowcount
        cursor.execute(FOR_FEW)
        cursor.execute(TOGETHER, {"singly": SINGLY})
        note_collected(_collected(people))
    return int(told)


def _collected(people: Sequence[Reading]) -> list[Reading]:
    """Those whose collected mail was due and could go out."""
    return [each for each in people if each.mail and (each.daily or each.weekly)]
