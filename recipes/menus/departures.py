"""Where sites depart from the menu that they follow: set-based, for a whole chain at once.

A site is held against the menu's version that was last published there and has begun; where none
was, against the approved one. A slot that waits for what the menu says does not depart, nor does a
slot number that the menu leaves free, or that the site has not got.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from django.db import connection

from recipes.menus.models import Following, FollowingQuerySet, MenuVersion
from recipes.versions.models import Version


class Departs(StrEnum):
    """What a slot should hold instead of what its menu says."""

    OTHER = "other"
    BY_HAND = "by_hand"
    NOTHING = "nothing"
    PERMIT = "permit"


WORDS = {
    Departs.OTHER: "another version",
    Departs.BY_HAND: "set by hand",
    Departs.NOTHING: "nothing",
    Departs.PERMIT: "on permit",
}

# Of each site (id) that follows a menu: the version of the menu that was last published there and
# has begun, and the approved one. What was cancelled there as a whole never began.
SENT = """
    SELECT f.id AS following_id, f.site_id, (
        SELECT p.menu_version_id FROM recipes_publicationsite s
        JOIN recipes_publication p ON p.id = s.publication_id
        JOIN recipes_menuversion v ON v.id = p.menu_version_id AND v.menu_id = f.menu_id
        WHERE s.site_id = f.site_id AND s.due_at <= statement_timestamp()
            AND (s.slots = 0 OR s.cancelled < s.slots)
        ORDER BY s.due_at DESC, p.id DESC LIMIT 1) AS sent_id,
        (SELECT v.id FROM recipes_menuversion v
            WHERE v.menu_id = f.menu_id AND v.state = 'approved') AS approved_id
    FROM recipes_following f WHERE f.until IS NULL AND f.site_id = ANY(%(sites)s)
"""
# Worked out first, once a site: written into the join it would be asked anew for every drink.
DEPARTING = f"""
WITH follows AS MATERIALIZED ({SENT}), says AS MATERIALIZED (
    SELECT follows.site_id, d.slot_number, d.version_id, v.content_digest FROM follows
    JOIN recipes_menudrink d ON d.menu_version_id = coalesce(follows.sent_id, follows.approved_id)
    JOIN recipes_version v ON v.id = d.version_id
)
SELECT says.site_id, slot.id, slot.number,
    m.name || ' · station ' || station.number || ' · slot ' || slot.number,
    says.version_id, held.id,
    CASE WHEN now.id IS NULL THEN 'nothing' WHEN now.manner = 'steps_in' THEN 'permit'
        WHEN now.manner = 'by_hand' THEN 'by_hand' ELSE 'other' END,
    CASE WHEN now.manner = 'steps_in' THEN now.basis_id END
FROM stations_slot slot
JOIN stations_station station ON station.id = slot.station_id
JOIN stations_machine m ON m.id = station.machine_id AND m.site_id = ANY(%(sites)s)
JOIN says ON says.site_id = m.site_id AND says.slot_number = slot.number
LEFT JOIN stations_placement now ON now.slot_id = slot.id AND now.state = 'in_force'
LEFT JOIN stations_controlsettings settings ON settings.id = now.settings_id
LEFT JOIN recipes_version held ON held.content_digest = settings.content_digest
    AND held.signature_id IS NOT NULL AND settings.content_digest <> ''
WHERE (now.id IS NULL OR now.manner IN ('steps_in', 'by_hand')
        OR settings.content_digest <> says.content_digest)
    AND NOT EXISTS (SELECT 1 FROM stations_placement next
        JOIN stations_controlsettings coming ON coming.id = next.settings_id
        WHERE next.slot_id = slot.id AND next.state = 'scheduled'
            AND coming.content_digest = says.content_digest)
ORDER BY says.site_id, m.name, station.number, slot.number
"""  # noqa: S608 - constants of this module


@dataclass(frozen=True, slots=True)
class Departure:
    """A slot that should hold something other than its site's menu says."""

    site_id: int
    slot_id: int
    number: int
    place: str
    kind: Departs
    says: Version
    holds: Version | None
    permit_id: int | None

    @property
    def words(self) -> str:
        """What it should hold, in words."""
        return str(self.holds) if self.kind is Departs.OTHER and self.holds else WORDS[self.kind]


@dataclass(frozen=True, slots=True)
class Standing:
    """How a site stands to the menu that it follows.

    ``version`` is what it is held against, if anything; ``sent`` whether that was published there,
    and ``newer`` the approved version that was not yet.
    """

    following: Following
    version: MenuVersion | None
    sent: bool
    newer: MenuVersion | None
    departures: tuple[Departure, ...]


def standings(followings: FollowingQuerySet) -> list[Standing]:
    """How the sites of these followings stand, in reading order: a fixed number of queries."""
    return standings_of(list(followings.current().with_all()))


def standings_of(rows: Sequence[Following]) -> list[Standing]:
    """The same of followings that are read already, with all."""
    sites = [each.site_id for each in rows]
    sent = _sent(sites)
    versions = MenuVersion.objects.with_menu().in_bulk(
        {pk for pair in sent.values() for pk in pair if pk}
    )
    departing: dict[int, list[Departure]] = {}
    for each in departures(sites):
        departing.setdefault(each.site_id, []).append(each)
    return [_standing(each, sent[each.pk], versions, departing) for each in rows if each.pk in sent]


def _standing(
    following: Following, pair: tuple[int | None, int | None],
    versions: dict[int, MenuVersion], departing: dict[int, list[Departure]],
) -> Standing:  # fmt: skip
    sent, approved = pair
    version = versions.get(sent or approved or 0)
    newer = versions.get(approved or 0) if sent and approved != sent else None
    here = tuple(departing.get(following.site_id, ()))
    return Standing(following, version, sent is not None, newer, here)


def departures(sites: Iterable[int]) -> list[Departure]:
    """Every slot of these sites (ids) that departs, site by site: two queries."""
    rows = _rows(DEPARTING, sites)
    named = {pk for row in rows for pk in row[4:6] if pk}
    versions = Version.objects.select_related("recipe__coffee").in_bulk(named) if named else {}
    return [
        Departure(
            row[0], row[1], row[2], row[3], Departs(row[6]), versions[row[4]],
            versions.get(row[5] or 0), row[7],
        )
        for row in rows
    ]  # fmt: skip


def departing_slots(sites: Iterable[int]) -> dict[int, int]:
    """How many slots depart at each of these sites (id) where some do: one query."""
    counted = f"SELECT site_id, count(*) FROM ({DEPARTING}) AS departing GROUP BY site_id"  # noqa: S608
    return dict(_rows(counted, sites))


def _sent(sites: Collection[int]) -> dict[int, tuple[int | None, int | None]]:
    """By following (id), the menu versions published and approved."""
    return {row[0]: (row[2], row[3]) for row in _rows(SENT, sites)}


def _rows(statement: str, sites: Iterable[int]) -> list[Any]:
    wanted = sorted(set(sites))
    if not wanted:
        return []
    with connection.cursor() as cursor:
        cursor.execute(statement, {"sites": wanted})
        return list(cursor.fetchall())
