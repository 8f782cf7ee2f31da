"""Ways to set a locked slot to something else that nobody should have."""

from collections.abc import Callable

from django.db import connection
from django.db.models import F
from django.db.models.functions import Now

from stations.slots.models import ControlSettings, Placement

Attack = Callable[[Placement], object]


def other_settings(held: Placement) -> ControlSettings:
    """Settings somebody made up for the slot's station."""
    return ControlSettings.objects.create(
        station_id=held.settings.station_id,
        title="Mine",
        content_digest="f" * 64,
        values={"water_volume": {"value": "999", "unit": "{pulse}"}},
    )


def sql(text: str) -> Attack:
    """Raw SQL; {pk}, {slot}, {settings} and {site} stand for what is in force."""

    def run(held: Placement) -> int:
        text_now = text.format(
            pk=held.pk, slot=held.slot_id, settings=held.settings_id, site=held.site_id
        )
        with connection.cursor() as cursor:
            cursor.execute(text_now)
            return int(cursor.rowcount)

    return run


def save(held: Placement) -> None:
    """Point it elsewhere and save."""
    held.settings = other_settings(held)
    held.save()


def end_it(held: Placement) -> object:
    """End it with nothing in its place."""
    return Placement.objects.filter(pk=held.pk).update(state="ended", ended_at=Now())


def by_hand_beside_it(held: Placement) -> object:
    """Put an unsigned one into force as well."""
    return Placement.objects.create(
        slot=held.slot, site=held.site, settings=other_settings(held), basis="by_hand",
        manner="by_hand", state="in_force", due_at=held.due_at, started_at=held.started_at,
    )  # fmt: skip


def forge(held: Placement) -> object:
    """Reuse its signature for something else."""
    return Placement.objects.create(
        slot=held.slot, site=held.site, settings=other_settings(held), basis="permit",
        manner="steps_in", basis_id=held.basis_id, signature=held.signature, due_at=held.due_at,
    )  # fmt: skip


ATTACKS: dict[str, Attack] = {
    "save": save,
    "update": lambda held: Placement.objects.update(settings=other_settings(held)),
    "bulk update": lambda held: Placement.objects.bulk_update(
        [Placement(pk=held.pk, settings=other_settings(held))], ["settings"]
    ),
    "end it": end_it,
    "suspend it": lambda held: Placement.objects.filter(pk=held.pk).update(state="suspended"),
    "by hand beside it": by_hand_beside_it,
    "forged signature": forge,
    "call it unsigned": lambda held: Placement.objects.filter(pk=held.pk).update(
        basis="by_hand", manner="by_hand", basis_id=None, signature=None
    ),
    "other values": lambda held: ControlSettings.objects.filter(pk=held.settings_id).update(
        values={}
    ),
    "delete": lambda held: held.delete(),
    "bulk delete": lambda held: Placement.objects.all().delete(),
    "move it": lambda held: Placement.objects.update(slot=F("slot") + 1),
    "sql update": sql("UPDATE stations_controlsettings SET \"values\" = '{{}}'"),
    "sql delete": sql("DELETE FROM stations_placement WHERE id = {pk}"),
    "sql end": sql(
        "UPDATE stations_placement SET state = 'ended', ended_at = now(), superseded_by_id = {pk}"
        " WHERE id = {pk}"
    ),
    "sql truncate": sql("TRUNCATE stations_placement CASCADE"),
    "sql second": sql(
        "INSERT INTO stations_placement (slot_id, site_id, settings_id, basis, manner, state,"
        " verdict, due_at, started_at) VALUES ({slot}, {site}, {settings}, 'by_hand', 'by_hand',"
        " 'in_force', 'unread',"
        " now(), now())"
    ),
    "sql move": sql("UPDATE stations_placement SET id = id + 1000 WHERE id = {pk}"),
    "sql delete slot": sql("DELETE FROM stations_slot WHERE id = {slot}"),
    # What it should hold was signed for the slot of that number, there.
    "sql renumber slot": sql("UPDATE stations_slot SET number = 77 WHERE id = {slot}"),
    "sql slot elsewhere": sql("UPDATE stations_slot SET station_id = station_id + 1"),
    "sql renumber station": sql("UPDATE stations_station SET number = number + 20"),
    "sql station elsewhere": sql("UPDATE stations_station SET machine_id = machine_id + 1"),
    "sql machine elsewhere": sql("UPDATE stations_machine SET site_id = site_id + 1"),
}
