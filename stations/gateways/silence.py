"""Gateways that are not heard of, stations that do not answer, and what nobody verified since."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import connection
from django.db.models import Max
from django.urls import reverse
from django.utils import timezone

from people.notices.kinds import Found, Kind, register_kind
from people.persons.verbs import Verb
from stations.equipment.models import Site, Station
from stations.gateways.differences import GatewayPolicy
from stations.gateways.models import Gateway
from stations.slots.unverified import register_unverified

QUIET = """
SELECT 'gateway' AS kind, g.id, g.name AS named, g.site_id AS site, i.name AS place
FROM stations_gateway g JOIN stations_site i ON i.id = g.site_id
JOIN stations_gatewaystatus s ON s.gateway_id = g.id
LEFT JOIN stations_gatewaypolicy p ON p.site_id = g.site_id
WHERE g.revoked_at IS NULL AND g.enrolled_at IS NOT NULL
    AND coalesce(s.seen_at, g.enrolled_at)
        < now() - coalesce(p.silent_minutes, 10) * interval '1 minute'
UNION ALL
SELECT 'station', t.id, m.name || ', station ' || t.number, m.site_id, i.name
FROM stations_stationcontact c JOIN stations_gateway g ON g.id = c.gateway_id
JOIN stations_station t ON t.id = c.station_id JOIN stations_machine m ON m.id = t.machine_id
JOIN stations_site i ON i.id = m.site_id
LEFT JOIN stations_gatewaypolicy p ON p.site_id = m.site_id
WHERE g.revoked_at IS NULL AND NOT c.answers
    AND coalesce(c.answered_at, g.enrolled_at)
        < now() - coalesce(p.silent_minutes, 10) * interval '1 minute'
"""


def silent_at(sites: Sequence[int]) -> dict[int, int]:
    """By site, how many of its gateways and stations are not heard of: one query."""
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT site, count(*) FROM ({QUIET}) q WHERE site = ANY(%s) GROUP BY site",  # noqa: S608 - constants of this module
            [list(sites)],
        )
        return dict(cursor.fetchall())


def silent() -> Iterable[Found]:
    """Each, for as long as it lasts: until it is heard of, or the gateway revoked."""
    with connection.cursor() as cursor:
        cursor.execute(f"{QUIET} ORDER BY 1, 2")
        rows = cursor.fetchall()
    for kind, pk, named, site, place in rows:
        gateway = kind == "gateway"
        what = f"the gateway “{named}” is silent" if gateway else f"{named} does not answer"
        yield Found(
            key=f"{kind}:{pk}",
            title=f"{place}: {what}",
            words="Until it is heard of, nothing verifies what slots hold: key in and read back.",
            url=reverse("stations:gateways", args=[site]),
            sites=(site,),
        )


@dataclass(frozen=True, slots=True)
class Verified:
    """A station of a site with a gateway: when its slots were last read by one."""

    station: Any
    read_at: datetime | None
    answers: bool | None  # None: never told
    unverified_since: datetime | None  # None: read lately enough


def verified(site: Site) -> list[Verified]:
    """Every station of a site where a gateway is in use, in reading order: three queries.

    One that was never read is unverified since the gateway was enrolled, never fine.
    """
    begun = Gateway.objects.in_use().filter(site=site).order_by("enrolled_at")
    enrolled = begun.values_list("enrolled_at", flat=True).first()
    if enrolled is None:
        return []
    lately = timezone.now() - timedelta(minutes=GatewayPolicy.at(site.pk).silent_minutes)
    stations = Station.objects.filter(machine__site=site).with_equipment()
    rows = stations.annotate(read_at=Max("slots__seen__at"))
    return [_verified(station, enrolled, lately) for station in rows.select_related("contact")]


def _verified(station: Any, enrolled: datetime, lately: datetime) -> Verified:  # noqa: ANN401
    contact = getattr(station, "contact", None)
    last = station.read_at or enrolled
    since = last if last < lately else None
    return Verified(station, station.read_at, contact.answers if contact else None, since)


# Where a gateway is in use: the last time that anybody read a slot, by itself or by hand.
UNREAD = """
SELECT * FROM (
    SELECT s.id, s.station_id, k.site_id, coalesce(greatest(seen.at, read.at), begun.at) AS last,
        coalesce(p.silent_minutes, 10) AS silent
    FROM stations_slot s JOIN stations_station t ON t.id = s.station_id
    JOIN stations_machine k ON k.id = t.machine_id
    JOIN LATERAL (SELECT min(g.enrolled_at) AS at FROM stations_gateway g
        WHERE g.site_id = k.site_id AND g.revoked_at IS NULL) begun ON begun.at IS NOT NULL
    LEFT JOIN stations_gatewaypolicy p ON p.site_id = k.site_id
    LEFT JOIN stations_slotseen seen ON seen.slot_id = s.id
    LEFT JOIN LATERAL (SELECT r.at FROM stations_readback r WHERE r.slot_id = s.id
        ORDER BY r.at DESC, r.id DESC LIMIT 1) read ON true
    WHERE {where}
        AND EXISTS (SELECT 1 FROM stations_placement h WHERE h.slot_id = s.id
            AND h.state = 'in_force')
) AS one WHERE last < now() - silent * interval '1 minute'
"""
UNREAD_SLOTS = UNREAD.format(where="s.id = ANY(%s)")
UNREAD_STATIONS = (
    "SELECT station_id, site_id, min(last) FROM ("  # noqa: S608 - constants of this module
    f"{UNREAD.format(where='k.site_id = ANY(%s)')}) AS each GROUP BY 1, 2 ORDER BY 1"
)


@register_unverified
def unread(slots: Collection[int]) -> dict[int, datetime]:
    """Slots in which something is in force and that were not read lately: one query.

    One that was never read is unverified since the gateway was enrolled, as in `verified`.
    """
    with connection.cursor() as cursor:
        cursor.execute(UNREAD_SLOTS, [list(slots)])
        return {row[0]: row[3] for row in cursor.fetchall()}


def unverified_stations(sites: Collection[int]) -> list[tuple[int, int, datetime]]:
    """Stations of these sites with such a slot: station, site and since when at the latest."""
    with connection.cursor() as cursor:
        cursor.execute(UNREAD_STATIONS, [list(sites)])
        return [(station, site, since) for station, site, since in cursor.fetchall()]


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind("gateway_silent", "A gateway or station not heard of", Verb.SLOT_READ_BACK, silent,
             "stations:gateways")
    )  # fmt: skip
