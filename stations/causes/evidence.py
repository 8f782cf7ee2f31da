"""What ends what was known of a part: calibrations, replacements, new burrs. One query for all."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import connection

from stations.causes.models import Evidence
from stations.metrology.causes import Cause

# The newest of each kind at each station. `at` is since when it holds, `noted` when it was told.
RENEWALS = """
SELECT asked.station, newest.* FROM unnest(%(stations)s::bigint[]) AS asked (station)
JOIN LATERAL (
    (SELECT 'meter', 'calibration', c.id, c.decided_at AS at, c.decided_at AS noted
    FROM stations_calibration c WHERE c.station_id = asked.station AND c.kind = 'flow_meter'
        AND c.state = 'accepted' ORDER BY c.decided_at DESC LIMIT 1)
    UNION ALL
    (SELECT 'probe', 'calibration', c.id, c.decided_at, c.decided_at
    FROM stations_calibration c WHERE c.station_id = asked.station AND c.kind = 'temperature'
        AND c.state = 'accepted' ORDER BY c.decided_at DESC LIMIT 1)
    UNION ALL
    (SELECT 'meter', 'replacement', r.id, r.at, r.noted_at
    FROM stations_replacement r WHERE r.station_id = asked.station AND r.part = 'flow_meter'
        ORDER BY r.at DESC LIMIT 1)
    UNION ALL
    (SELECT 'probe', 'replacement', r.id, r.at, r.noted_at
    FROM stations_replacement r WHERE r.station_id = asked.station AND r.part = 'probe'
        ORDER BY r.at DESC LIMIT 1)
    UNION ALL
    (SELECT 'grind', 'grinder', e.id, e.at, e.at
    FROM stations_grinderstation g JOIN LATERAL (SELECT * FROM stations_grinderevent one
        WHERE one.grinder_id = g.grinder_id AND one.kind IN ('burrs', 'replaced')
        ORDER BY one.id DESC LIMIT 1) e ON true
    WHERE g.station_id = asked.station)
) AS newest ON true
ORDER BY newest.at
"""
WORDS = {
    Evidence.CALIBRATION: "calibration {}, accepted since",
    Evidence.REPLACEMENT: "part replaced since, as entry {} of the replacements says",
    Evidence.GRINDER: "new burrs or grinder since, as entry {} of the grinder's log says",
}


@dataclass(frozen=True, slots=True)
class Renewed:
    """A part of a station that is another since, or known anew."""

    station: int
    cause: Cause
    evidence: Evidence
    pk: int
    at: datetime
    noted_at: datetime

    @property
    def words(self) -> str:
        """By its name."""
        return WORDS[self.evidence].format(self.pk)


def renewals(stations: Sequence[int]) -> list[Renewed]:
    """The newest of each kind, the oldest of them first."""
    with connection.cursor() as cursor:
        cursor.execute(RENEWALS, {"stations": list(stations)})
        rows = cursor.fetchall()
    return [
        Renewed(station, Cause(cause), Evidence(kind), pk, at, noted)
        for station, cause, kind, pk, at, noted in rows
    ]
