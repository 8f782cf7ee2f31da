"""The week that is over, at each site where something changed: all in one mail a week."""

from collections.abc import Iterable, Sequence

from django.db import connection
from django.urls import reverse

from people.notices.kinds import Found, How, Kind, register_kind
from people.persons.verbs import Verb

# By each site's own clock; each count by an index that begins with the site.
LAST_WEEK = """
WITH weeks AS (
    SELECT s.id AS site, s.name, s.time_zone AS zone,
        date_trunc('week', now() AT TIME ZONE s.time_zone) AS monday FROM stations_site s
), spans AS (
    SELECT site, name, to_char(monday - interval '7 days', 'IYYY-"W"IW') AS week,
        (monday - interval '7 days') AT TIME ZONE zone AS since, monday AT TIME ZONE zone AS until
    FROM weeks
)
SELECT site, name, week, until,
    (SELECT count(*) FROM stations_placement p WHERE p.site_id = site
        AND p.started_at >= since AND p.started_at < until),
    (SELECT count(*) FROM stations_difference d WHERE d.site_id = site
        AND d.bad_at >= since AND d.bad_at < until),
    (SELECT count(*) FROM stations_causefinding f WHERE f.site_id = site
        AND f.found_at >= since AND f.found_at < until),
    (SELECT count(*) FROM stations_causefinding f WHERE f.site_id = site
        AND f.cleared_at >= since AND f.cleared_at < until),
    (SELECT count(*) FROM stations_machine m JOIN stations_station t ON t.machine_id = m.id
        JOIN stations_calibration c ON c.station_id = t.id WHERE m.site_id = site
        AND c.state = 'accepted' AND c.decided_at >= since AND c.decided_at < until)
FROM spans ORDER BY site
"""
COUNTED = (
    ("slot placed anew", "slots placed anew"),
    ("slot found to differ", "slots found to differ"),
    ("cause of drift found", "causes of drift found"),
    ("cause cleared", "causes cleared"),
    ("calibration accepted", "calibrations accepted"),
)


def last_week() -> Iterable[Found]:
    """One for each site, for as long as it is the last: one query."""
    with connection.cursor() as cursor:
        cursor.execute(LAST_WEEK)
        rows = cursor.fetchall()
    for site, name, week, until, *counts in rows:
        if any(counts):
            yield Found(
                key=f"{site}:{week}",
                title=f"{name}: what changed in week {week[-2:].lstrip('0')}",
                words=f"{words_of(counts)}.",
                url=f"{reverse('stations:week', args=[site])}?week={week}",
                sites=(site,),
                since=until,
            )


def words_of(counts: Sequence[int]) -> str:
    """What there was, in words; what was not is left out."""
    named = zip(counts, COUNTED, strict=True)
    return ", ".join(f"{many} {one if many == 1 else more}" for many, (one, more) in named if many)


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind("week", "What changed in the last week", Verb.FINDING_ANSWER, last_week,
             "stations:week", usual=How.WEEKLY)
    )  # fmt: skip
