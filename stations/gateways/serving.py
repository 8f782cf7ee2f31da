"""What the slots of a site should hold, as its gateway is served it, and how it tells a change."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import rfc8785
from django.db import connection

from audit.quick import quick
from stations.equipment.models import Site, Slot
from stations.equipment.traits import abilities_of
from stations.machine_types.catalogue import unit_of
from stations.metrology.abilities import MachineAbilities
from stations.slots.holdings import Holding, holdings
from stations.slots.models import Placement

POLL = 15  # s between two questions
KNOWN_FOR = 24 * 3600  # s; what a cursor stood for is remembered so long, then all is served

MACHINES = "machines"  # beside the slots in what a cursor stands for

# Settings never change, so the ids of what is in force say it all; with them what machines can be
# set to, and which slots are to be restored: those that differ again since they were. One statement
# over partial indexes.
STATE = """
SELECT
    (SELECT string_agg(slot_id || ':' || id, ',' ORDER BY slot_id)
     FROM stations_placement WHERE site_id = %(site)s AND state = 'in_force'),
    (SELECT string_agg(concat_ws(':', m.id, m.revision, t.id, t.revision), ',' ORDER BY m.id)
     FROM stations_machine m JOIN stations_machinetype t ON t.id = m.machine_type_id
     WHERE m.site_id = %(site)s),
    (SELECT string_agg(d.slot_id || ':' || d.id || '.' || d.restores, ',' ORDER BY d.slot_id)
     FROM stations_difference d JOIN stations_slotseen s ON s.slot_id = d.slot_id
     JOIN stations_placement f ON f.id = d.placement_id AND f.state = 'in_force'
     JOIN stations_gatewaypolicy p ON p.site_id = d.site_id AND p.restores
     WHERE d.site_id = %(site)s AND d.over_at IS NULL AND d.stopped_at IS NULL
        AND s.verdict = 'differs' AND (d.restored_at IS NULL OR s.at > d.restored_at))
"""


@dataclass(frozen=True, slots=True)
class State:
    """What a site's slots should hold, as one short text, and by slot."""

    cursor: str
    placements: Mapping[str, str]  # slot: placement, and what it is restored for
    restore: Mapping[str, str]  # slot: difference and how often it was restored

    def without(self, withheld: Sequence[str]) -> "State":
        """The same where slots are withheld: when that is over, they have changed."""
        if not withheld:
            return self
        left = {slot: held for slot, held in self.placements.items() if slot not in withheld}
        return State(_cursor(f"{self.cursor}|{','.join(withheld)}"), left, self.restore)


def state_of(site: Site) -> State:
    """As it is now: one query."""
    with connection.cursor() as cursor:
        cursor.execute(STATE, {"site": site.pk})
        placed, machines, differing = cursor.fetchone()
    text = f"{site.pk}|{placed or ''}|{machines or ''}|{differing or ''}"
    restore = _pairs(differing)
    stand = {MACHINES: machines or ""} | {
        slot: f"{pk} {restore.get(slot, '')}" for slot, pk in _pairs(placed).items()
    }
    return State(_cursor(text), stand, restore)


def _cursor(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def _pairs(text: str | None) -> dict[str, str]:
    return dict(pair.split(":") for pair in (text or "").split(",") if pair)


def digest_of(slot: int, placement: int | None, settings: Mapping[str, Any]) -> str:
    """SHA-256 [hex] over the canonical JSON (RFC 8785) of slot, placement and settings."""
    told = {"placement": placement, "settings": settings, "slot": slot}
    return hashlib.sha256(rfc8785.dumps(told)).hexdigest()


def served(site: Site, now: State, since: str) -> dict[str, Any]:
    """The body of the answer: every slot, or those changed since a cursor that is remembered.

    A fixed number of queries. What is not as it was signed comes without settings and with its
    problem, and is served each time until that is over.
    """
    before = _remembered(site, since) if since else None
    if before and before.get(MACHINES) != now.placements[MACHINES]:
        before = None  # another name or range is told with every slot
    slots = Slot.objects.filter(station__machine__site=site)
    shown = holdings(slots.select_related("station__machine__machine_type"))
    told = now.without([str(each.slot.pk) for each in shown if each.problem])
    _remember(site, told)
    able = abilities_of({each.slot.station.machine.machine_type_id for each in shown})
    changed = [each for each in shown if before is None or _moved(each, now, before)]
    return {
        "site": site.code,
        "cursor": told.cursor,
        "whole": before is None,
        "next_poll": POLL,
        "slots": [_slot(each, able, now) for each in changed],
    }


def _moved(held: Holding, now: State, before: Mapping[str, str]) -> bool:
    slot = str(held.slot.pk)
    return bool(held.problem) or before.get(slot) != now.placements.get(slot)


def _slot(held: Holding, able: Mapping[int, MachineAbilities], now: State) -> dict[str, Any]:
    station = held.slot.station
    settings = settings_of(held.placement)
    placement = held.placement.pk if held.placement else None
    return {
        "slot": held.slot.pk,
        "machine": str(station.machine),
        "station": station.number,
        "number": held.slot.number,
        "placement": placement,
        "title": held.title,
        "locked": held.locked,
        "settings": settings,
        "ranges": _ranges(able[station.machine.machine_type_id]),
        "digest": digest_of(held.slot.pk, placement, settings),
        "signed": _signed(held),
        "restore": now.restore.get(str(held.slot.pk)) if held.locked and settings else None,
        "problem": held.problem,
    }


def settings_of(placement: Placement | None) -> dict[str, dict[str, str]]:
    """What a slot should hold, as it is served."""
    values = placement.settings.values if placement else {}
    return {
        code: {"value": given["value"], "unit": given.get("unit", "")}
        for code, given in values.items()
    }


def _ranges(able: MachineAbilities) -> dict[str, dict[str, str]]:
    return {
        code: {
            "low": format(each.minimum, "f"),
            "high": format(each.maximum, "f"),
            "step": format(each.resolution, "f"),
            "unit": unit_of(code),
        }
        for code, each in able.parameters.items()
    }


def _signed(held: Holding) -> dict[str, Any] | None:
    signature = held.placement.signature if held.placement else None
    if signature is None or held.problem:
        return None
    return {"digest": signature.digest, "signature": signature.pk}


# What a cursor stood for: a note in the cache, without which everything is served.


def _key(site: Site, cursor: str) -> str:
    return f"gateway_cursor:{site.pk}:{cursor}"


def _remember(site: Site, now: State) -> None:
    quick.set(_key(site, now.cursor), dict(now.placements), KNOWN_FOR)


def _remembered(site: Site, cursor: str) -> Mapping[str, str] | None:
    found: Mapping[str, str] | None = quick.get(_key(site, cursor))
    return found
