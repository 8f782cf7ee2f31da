"""Shots with what a gateway told of them: the one place where causes read traces.

`poured_since` is all of it: whoever stores traces otherwise changes nothing but its query.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection

from stations.metrology.formula import TEMPERATURE

MOST = 200  # shots of one slot at a time; what is beyond comes next time

# The newest openings and settings stand on the shot itself; the lot's age is by the site's day.
SINCE = f"""
SELECT asked.station, one.id, one.at, one.dose_mass::float8, one.beverage_mass::float8,
    told.data ->> 'water_volume', told.data ->> 'brew_temperature', told.data -> 'trace',
    own."values" -> '{TEMPERATURE}' ->> 'value', own.content_digest,
    one.grinder_id, one.grind_setting::text,
    (one.at AT TIME ZONE site.time_zone)::date - opening.roasted_on,
    slot.id
FROM unnest(%(stations)s::bigint[], %(since)s::timestamptz[]) AS asked (station, since)
JOIN stations_slot slot ON slot.station_id = asked.station
JOIN LATERAL (
    SELECT * FROM stations_checkshot shot
    WHERE shot.slot_id = slot.id AND shot.at > asked.since AND shot.gateway_id IS NOT NULL
        AND NOT shot.left_out
    ORDER BY shot.at, shot.id LIMIT %(most)s
) AS one ON true
JOIN stations_gatewayevent told ON told.shot_id = one.id
JOIN stations_placement placed ON placed.id = one.placement_id
JOIN stations_controlsettings own ON own.id = placed.settings_id
JOIN stations_site site ON site.id = one.site_id
LEFT JOIN stations_lotopening opening ON opening.id = one.opening_id
ORDER BY one.at, one.id
"""  # noqa: S608 - constants only


@dataclass(frozen=True, slots=True)
class Poured:
    """One shot at a station, as its gateway told it.

    ``water`` [mL] and ``temperature`` [°C] are the machine's own figures, ``set_to`` [°C] what it
    was set to; ``content`` is the digest of what was signed, ``age`` the lot's in days. ``trace``
    maps t [s], pressure [bar], flow [mL/s], mass [g] and temperature [°C] to lists of one length;
    empty where there was none.
    """

    station: int
    shot: int
    at: datetime
    dose: float
    beverage: float
    water: float | None
    temperature: float | None
    trace: Mapping[str, list[float]]
    set_to: float | None
    content: str
    grinder: int | None
    mark: str
    age: int | None


def poured_since(since: Mapping[int, datetime]) -> dict[int, list[Poured]]:
    """By station (id) the shots pulled after that moment, the oldest first: one query.

    Where a slot has more than `MOST`, a station's shots end where that slot's do, so that none is
    passed over the next time.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            SINCE, {"stations": list(since), "since": list(since.values()), "most": MOST}
        )
        rows = cursor.fetchall()
    found: dict[int, list[Poured]] = {}
    slots: dict[tuple[int, int], list[datetime]] = {}
    for row in rows:
        found.setdefault(row[0], []).append(_poured(row))
        slots.setdefault((row[0], row[-1]), []).append(row[2])
    for (station, _), moments in slots.items():
        if len(moments) == MOST:
            found[station] = [each for each in found[station] if each.at <= moments[-1]]
    return found


def _poured(row: tuple[Any, ...]) -> Poured:
    water, temperature, set_to = (
        None if text is None else float(text) for text in (row[5], row[6], row[8])
    )
    return Poured(
        row[0], row[1], row[2], row[3], row[4], water, temperature, _trace(row[7]), set_to,
        row[9], row[10], row[11] or "", row[12],
    )  # fmt: skip


def _trace(stored: Any) -> Mapping[str, list[float]]:  # noqa: ANN401
    found: Mapping[str, list[float]] = json.loads(stored) if isinstance(stored, str) else {}
    return found
