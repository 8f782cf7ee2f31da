"""What is only noted of a gateway's events: that it loaded something, and how it fares."""

from collections.abc import Sequence

from django.db import connection

from audit.errors import Problem
from stations.equipment.models import Station
from stations.gateways.models import Gateway, GatewayStatus
from stations.gateways.serving import digest_of, settings_of
from stations.gateways.told import Told
from stations.slots.models import Placement


def note_loaded(gateway: Gateway, told: Sequence[Told]) -> None:
    """What was loaded must be what was served for that slot; that it holds it, a reading says."""
    if not told:
        return
    named = {each.event.data["placement"] for each in told}
    rows = Placement.objects.filter(pk__in=named, site=gateway.site_id).select_related("settings")
    served = {row.pk: row for row in rows}
    for each in told:
        data = each.event.data
        placement = served.get(data["placement"])
        if placement is None or placement.slot_id != data["slot"]:
            each.found.append(not_there(data["placement"]))
        elif digest_of(placement.slot_id, placement.pk, settings_of(placement)) != data["digest"]:
            allowed = "the digest of what was served: something else was loaded"
            each.found.append(Problem("data.digest", data["digest"], allowed))


def not_there(placement: int) -> Problem:
    """It is not of that slot, or not of this gateway's site."""
    return Problem("data.placement", placement, "a placement of that slot, as `settings` gave it")


CONTACT = """
INSERT INTO stations_stationcontact AS c (station_id, gateway_id, answers, told_at, answered_at)
SELECT t.station, %s, t.answers, %s, CASE WHEN t.answers THEN %s END
FROM unnest(%s::bigint[], %s::boolean[]) AS t (station, answers)
ON CONFLICT (station_id) DO UPDATE SET gateway_id = excluded.gateway_id,
    answers = excluded.answers, told_at = excluded.told_at,
    answered_at = coalesce(excluded.answered_at, c.answered_at)
WHERE c.told_at < excluded.told_at
"""


def note_heartbeats(gateway: Gateway, told: Sequence[Told]) -> None:
    """How it fares, by the newest; older ones say nothing about now."""
    if not told:
        return
    known = {
        (machine, number): pk
        for pk, machine, number in Station.objects.filter(
            machine__site=gateway.site_id
        ).values_list("pk", "machine__name", "number")
    }
    for each in told:
        for place, one in enumerate(each.event.data["stations"]):
            if (one["machine"], one["station"]) not in known:
                allowed = "a machine and station of the site, as `settings` gave them"
                each.found.append(Problem(f"data.stations[{place}]", one["machine"], allowed))
    newest = max(told, key=lambda each: each.at)
    data = newest.event.data
    rows = GatewayStatus.objects.filter(gateway=gateway).exclude(told_at__gte=newest.at)
    rows.update(
        told_at=newest.at, version=data["version"], driver=data["driver"], waiting=data["waiting"]
    )
    answers = {
        known[one["machine"], one["station"]]: one["answers"]
        for one in data["stations"]
        if (one["machine"], one["station"]) in known
    }
    with connection.cursor() as cursor:
        at = newest.at
        cursor.execute(CONTACT, [gateway.pk, at, at, list(answers), list(answers.values())])
