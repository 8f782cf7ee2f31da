"""Equipment for the tests of this folder: one machine at each bar of the cast."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.utils import timezone

from audit.capture.context import recorded
from people.persons.models import User
from people.persons.verbs import Role
from people.signatures.models import Meaning, Signature
from stations.equipment.actions import SLOTS_ADDED, add_machine, add_station
from stations.equipment.models import Machine, Slot, Station
from stations.machine_types.actions import Reach, add_machine_type
from stations.machine_types.models import MachineType
from stations.slots.models import Placement
from stations.slots.placing import Entitlement, StationSettings, bring_into_force, schedule
from tests.cast import Cast

VALUES = {
    "water_volume": {"value": "280", "unit": "{pulse}"},
    "brew_temperature": {"value": "93.5", "unit": "Cel"},
    "ends_by": {"value": "volume", "unit": ""},
}
FOUND = {"water_volume": "280", "brew_temperature": "93.5", "ends_by": "volume"}


@dataclass(frozen=True)
class Bar:
    """A machine with two stations of two slots at the harbour, and one of one upland."""

    machine_type: MachineType
    machine: Machine
    first: Station
    second: Station
    away: Station

    @property
    def slot(self) -> Slot:
        """The first slot at the harbour."""
        return self.first.slots.get(number=1)


def reaches() -> dict[str, Reach]:
    """What the machines of these tests can set."""
    return {
        "water_volume": Reach(Decimal(20), Decimal(2000), Decimal(1)),
        "brew_temperature": Reach(Decimal(85), Decimal(98), Decimal("0.1")),
    }


@pytest.fixture
def bar(cast: Cast) -> Bar:
    """The equipment, through the actions."""
    by = cast.head_roaster
    machine_type = add_machine_type(
        name="Two boilers", ends_by=["volume", "operator"], abilities=reaches(), by=by
    )
    machine = add_machine(site=cast.site, name="Left machine", machine_type=machine_type, by=by)
    away = add_machine(site=cast.other_site, name="Main machine", machine_type=machine_type, by=by)
    return Bar(
        machine_type,
        machine,
        add_station(machine=machine, number=1, slots=2, pulses_per_millilitre=Decimal(4), by=by),
        add_station(machine=machine, number=2, slots=2, by=by),
        add_station(machine=away, number=1, slots=1, by=by),
    )


def a_publication(by: User) -> int:
    """The bare row that a placement is under; the rest of it is none of the stations' business."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(
            "INSERT INTO recipes_publication (version_id, author_id, reason, scope, scope_label,"
            " state, plan_digest, acknowledgement, made_at, completed_at, revision)"
            " VALUES (0, %s, '', '{}', '', 'complete', repeat('0', 64), '', now(), now(), 1)"
            " RETURNING id",
            [by.pk],
        )
        made = int(cursor.fetchone()[0])
        cursor.execute("SET LOCAL session_replication_role = origin")
    return made


def place(
    slot: Slot,
    by: User,
    values: Mapping[str, Mapping[str, str]] = VALUES,
    cup: Mapping[str, Mapping[str, str]] | None = None,
) -> Placement:
    """Put a signed placement into force in one slot, as a publication does."""
    site = slot.station.machine.site
    with recorded(by=by, action=SLOTS_ADDED):
        basis, basis_id = "publication", a_publication(by)
        signature = Signature.objects.create(
            user=by, name=by.name, role=Role.HEAD_ROASTER, meaning=Meaning.PUBLISHED,
            digest="0" * 64, subject_type="publication", subject_id=basis_id,
        )  # fmt: skip
        settings = StationSettings(
            slot.station_id, site.pk, "House espresso, version 3", "0" * 64, values, cup
        )
        schedule(
            entitlement=Entitlement(basis, basis_id, Placement.Manner.TAKES_OVER, signature),
            settings=[settings],
            slots=[slot.pk],
            due={site.pk: timezone.now() - timedelta(minutes=1)},
        )
        bring_into_force(basis=basis, basis_id=basis_id, at_most=10)
    return Placement.objects.get(slot=slot, state="in_force")
