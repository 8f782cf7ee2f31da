"""Raw SQL against placements that are signed, each with what the database answers."""

from dataclasses import dataclass

from django.db import connection, transaction

from stations.equipment.models import Slot
from stations.slots.models import Placement

LOCKED = "settings never change"
LIFE = "cannot go from its state"
STAYS = "stays locked"
TOGETHER = "given together with it"
BEGINS = "begins scheduled"
KEPT = "never changed or deleted"


@dataclass(frozen=True)
class Scene:
    """Ids to attack with: two locked slots, one that waits, one free, and their placements."""

    slot: int
    free: int
    site: int
    held: int  # in force in ``slot``
    settings: int
    publication: int
    signature: int
    past: int  # ended in ``slot``
    neighbour: int  # in force in another slot of the same station
    waiting: int  # scheduled for next week in ``slot``
    cancelled: int
    alone: int  # scheduled for next week in a slot that holds nothing


def run(statement: str, scene: Scene) -> None:
    """One statement, in a transaction of its own; every deferred check included."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement.format(**vars(scene)))
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")


INSERT = (
    "INSERT INTO stations_placement (slot_id, site_id, settings_id, basis, basis_id,"
    " manner, signature_id, state, verdict, due_at, started_at, ended_at) VALUES "
)
UPDATE = "UPDATE stations_placement SET "
HELD, NEXT = " WHERE id = {held}", " WHERE id = {neighbour}"

ATTACKS: dict[str, tuple[str, str]] = {
    # A second truth for a locked slot.
    "by hand beside it": (
        INSERT
        + "({slot}, {site}, {settings}, 'by_hand', NULL, 'by_hand', NULL, 'in_force', 'unread',"
        " now(), now(), NULL)",
        "placement_one_in_force",
    ),
    "by hand and scheduled": (
        INSERT
        + "({slot}, {site}, {settings}, 'by_hand', NULL, 'by_hand', NULL, 'scheduled', 'unread',"
        " now(), NULL, NULL), ({slot}, {site}, {settings}, 'by_hand', NULL,"
        " 'by_hand', NULL, 'in_force',"
        " 'unread', now(), now(), NULL)",
        "placement_one_in_force",
    ),
    "a borrowed signature": (
        INSERT
        + "({free}, {site}, {settings}, 'publication', {publication}, 'takes_over', {signature},"
        " 'scheduled', 'unread', now(), NULL, NULL)",
        TOGETHER,
    ),
    "a borrowed signature, at once in force": (
        INSERT
        + "({free}, {site}, {settings}, 'publication', {publication}, 'takes_over', {signature},"
        " 'in_force', 'unread', now(), now(), NULL)",
        BEGINS,
    ),
    "no signature at all": (
        INSERT + "({free}, {site}, {settings}, 'publication', {publication}, 'takes_over', NULL,"
        " 'scheduled', 'unread', now(), NULL, NULL)",
        "placement_signed_unless_by_hand",
    ),
    "a past that never was": (
        INSERT + "({free}, {site}, {settings}, 'by_hand', NULL, 'by_hand', NULL, 'ended', 'unread',"
        " now(), now(), now())",
        BEGINS,
    ),
    "read back before it began": (
        INSERT
        + "({free}, {site}, {settings}, 'by_hand', NULL, 'by_hand', NULL, 'in_force', 'matches',"
        " now(), now(), NULL)",
        BEGINS,
    ),
    # Other settings for what is in force.
    "other settings": (UPDATE + "settings_id = settings_id + 1" + HELD, LOCKED),
    "another slot": (UPDATE + "slot_id = {free}" + HELD, LOCKED),
    "another publication": (UPDATE + "basis_id = basis_id + 100" + HELD, LOCKED),
    "another signature": (UPDATE + "signature_id = signature_id - 1" + HELD, LOCKED),
    "call it by hand": (
        UPDATE
        + "basis = 'by_hand', manner = 'by_hand', basis_id = NULL, signature_id = NULL"
        + HELD,
        LOCKED,
    ),
    "other values": ("UPDATE stations_controlsettings SET \"values\" = '{{}}'", KEPT),
    "remove settings": ("DELETE FROM stations_controlsettings WHERE id = {settings}", KEPT),
    "all at once": (
        UPDATE + "settings_id = (SELECT max(id) FROM stations_controlsettings)",
        LOCKED,
    ),
    # An end without a successor.
    "end it": (UPDATE + "state = 'ended', ended_at = now()" + HELD, STAYS),
    "end it for itself": (
        UPDATE + "state = 'ended', ended_at = now(), superseded_by_id = {held}" + HELD,
        STAYS,
    ),
    "end it for a neighbour": (
        UPDATE + "state = 'ended', ended_at = now(), superseded_by_id = {neighbour}" + HELD,
        STAYS,
    ),
    "end it for the past": (
        UPDATE + "state = 'ended', ended_at = now(), superseded_by_id = {past}" + HELD,
        STAYS,
    ),
    "end it for what is not due": (
        UPDATE + "state = 'ended', ended_at = now(), superseded_by_id = {waiting}" + HELD,
        STAYS,
    ),
    "suspend it": (UPDATE + "state = 'suspended'" + HELD, STAYS),
    "suspend it for what was cancelled": (
        UPDATE + "state = 'suspended', superseded_by_id = {cancelled}" + HELD,
        STAYS,
    ),
    # Against the order of a placement's life.
    "bring it forward": (UPDATE + "due_at = now() WHERE id = {waiting}", LOCKED),
    "into force too early": (
        UPDATE + "state = 'in_force', started_at = now() WHERE id = {alone}",
        "before it is due",
    ),
    "back to scheduled": (UPDATE + "state = 'scheduled', started_at = NULL" + NEXT, LIFE),
    "raise the dead": (
        UPDATE + "state = 'in_force', ended_at = NULL, superseded_by_id = NULL WHERE id = {past}",
        "cannot go from its state|placement_one_in_force",
    ),
    "cancel what is in force": (UPDATE + "state = 'cancelled', started_at = NULL" + HELD, LIFE),
    "revive what was cancelled": (
        UPDATE + "state = 'scheduled' WHERE id = {cancelled}",
        "cannot go from its state|placement_one_scheduled",
    ),
    # Away with it.
    "delete": ("DELETE FROM stations_placement WHERE id = {held}", "never removed"),
    "delete all": ("DELETE FROM stations_placement", "never removed"),
    "truncate": ("TRUNCATE stations_placement CASCADE", "can't be emptied"),
    "truncate settings": ("TRUNCATE stations_controlsettings CASCADE", "can't be emptied"),
    "delete the slot": ("DELETE FROM stations_slot WHERE id = {slot}", "violates|never removed"),
    "move the row": (UPDATE + "id = id + 100000" + HELD, "settings never change|never moves|key"),
    "ask the guards to look away": (
        "SET LOCAL pgtrigger.ignore = '{{stations_placement:a_guard_update}}';"
        + UPDATE
        + "state = 'ended', ended_at = now()"
        + HELD,
        STAYS,
    ),
}


def look(slots: list[Slot]) -> list[tuple[object, ...]]:
    """All there is to know about what these slots hold, held and will hold."""
    rows = Placement.objects.filter(slot__in=slots).order_by("pk")
    columns = ("pk", "slot_id", "settings_id", "settings__values", "basis", "basis_id")
    moments = ("signature_id", "state", "verdict", "due_at", "started_at", "ended_at")
    return list(rows.values_list(*columns, *moments, "superseded_by_id"))
