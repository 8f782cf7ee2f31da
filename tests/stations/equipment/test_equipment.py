"""Machines, abilities, stations and slots."""

from decimal import Decimal

import pytest
from django.db import Error, transaction

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Stale
from people.persons.actions import assign_role
from people.persons.verbs import Role
from stations.equipment.actions import (
    add_machine,
    add_slots,
    add_station,
    change_machine,
)
from stations.equipment.models import Slot, Station
from stations.machine_types.actions import Reach, add_machine_type, change_machine_type
from stations.machine_types.models import Ability
from tests.cast import Cast
from tests.recipes.calibrating import accept, typed_in
from tests.stations.conftest import Bar, reaches

ONE = Decimal(1)


def test_a_station_comes_with_its_slots(bar: Bar, cast: Cast) -> None:
    made = add_station(machine=bar.machine, number=3, slots=4, by=cast.head_roaster)
    assert list(made.slots.order_by("number").values_list("number", flat=True)) == [1, 2, 3, 4]
    entries = Entry.objects.filter(action="station.added", table_name="stations_slot")
    assert entries.filter(site_id=cast.site.pk).count() == 4 + 4
    assert len(made.code) == 8


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("number", 0), ("number", 1), ("number", 100), ("number", "1.5"), ("slots", 0),
        ("slots", 33), ("slots", "many"), ("pulses_per_millilitre", Decimal(0)),
        ("pulses_per_millilitre", Decimal("NaN")), ("pulses_per_millilitre", Decimal(1001)),
        ("temperature_offset", Decimal("-15.1")), ("temperature_offset", Decimal("1.2345")),
    ],
)  # fmt: skip
def test_a_station_that_cannot_be_is_named(bar: Bar, cast: Cast, field: str, value: object) -> None:
    values: dict[str, object] = {"number": 3, "slots": 2}
    with pytest.raises(Invalid) as raised:
        add_station(machine=bar.machine, **{**values, field: value}, by=cast.owner)  # type: ignore[arg-type]
    assert raised.value.field == field
    assert Station.objects.count() == 3


def test_slots_are_added_once_and_never_removed(bar: Bar, cast: Cast) -> None:
    added = add_slots(station=bar.first, total=4, by=cast.owner)
    assert [slot.number for slot in added] == [3, 4]
    assert add_slots(station=bar.first, total=4, by=cast.owner) == []
    with pytest.raises(Invalid, match="never removed"):
        add_slots(station=bar.first, total=3, by=cast.owner)
    assert Slot.objects.filter(station=bar.first).count() == 4


FIGURES: tuple[dict[str, Decimal | None], ...] = (
    {"pulses_per_millilitre": Decimal("4.02")},
    {"pulses_per_millilitre": None},
    {"slope_uncertainty": Decimal("0.01")},
    {"repeatability": Decimal("0.2")},
    {"temperature_offset": Decimal("0.7")},
    {"offset_uncertainty": Decimal("0.1")},
)


@pytest.mark.parametrize("figures", FIGURES)
def test_figures_change_by_an_accepted_calibration_alone(
    bar: Bar, cast: Cast, figures: dict[str, Decimal | None]
) -> None:
    with pytest.raises(Error, match="accepted calibration"), transaction.atomic():
        Station.objects.filter(pk=bar.first.pk).update(**figures)
    accept(typed_in(bar.first, "4.02", cast.technician), cast.technician)  # before this one
    accept(typed_in(bar.first, "0.7", cast.technician, "temperature"), cast.technician)
    station = Station.objects.get(pk=bar.first.pk)
    assert (str(station.pulses_per_millilitre), str(station.temperature_offset)) == ("4.02", "0.7")


def test_machines_change_from_the_revision_seen(bar: Bar, cast: Cast) -> None:
    machine, by = bar.machine, cast.owner
    change_machine(machine=machine, revision=1, name="Right", machine_type=bar.machine_type, by=by)
    with pytest.raises(Stale):
        change_machine(machine=machine, revision=1, name="L", machine_type=bar.machine_type, by=by)


def test_a_machine_name_is_its_sites_own(bar: Bar, cast: Cast) -> None:
    add_machine(
        site=cast.other_site, name="Left machine", machine_type=bar.machine_type, by=cast.owner
    )
    with pytest.raises(Invalid, match="name"):
        add_machine(
            site=cast.site, name="Left machine", machine_type=bar.machine_type, by=cast.owner
        )


def test_abilities_are_replaced_as_a_whole(bar: Bar, cast: Cast) -> None:
    wanted = {"water_volume": Reach(ONE, Decimal(9), ONE), "brew_pressure": Reach(ONE, ONE, ONE)}
    change_machine_type(
        machine_type=bar.machine_type, revision=1, name="One boiler", ends_by=["mass"],
        abilities=wanted, by=cast.owner,
    )  # fmt: skip
    held = {a.parameter: a.maximum for a in Ability.objects.filter(machine_type=bar.machine_type)}
    assert held == {"water_volume": 9, "brew_pressure": 1}
    entries = Entry.objects.filter(action="machine_type.changed").values_list(
        "parameter", "operation"
    )
    assert set(entries) == {
        (None, "changed"), ("water_volume", "changed"), ("brew_pressure", "created"),
        ("brew_temperature", "removed"),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("code", "reach", "field"),
    [
        ("grind_note", Reach(ONE, ONE, ONE), "parameter"),
        ("brew_pressure", Reach(Decimal(9), Decimal(8), ONE), "brew_pressure.maximum"),
        ("brew_pressure", Reach(ONE, Decimal(13), ONE), "brew_pressure.maximum"),
        ("brew_pressure", Reach(ONE, Decimal(9), Decimal(0)), "brew_pressure.resolution"),
        ("brew_pressure", Reach(Decimal("NaN"), ONE, ONE), "brew_pressure.minimum"),
    ],
)
def test_an_ability_no_machine_has_is_named(
    cast: Cast, code: str, reach: Reach, field: str
) -> None:
    with pytest.raises(Invalid) as raised:
        add_machine_type(name="New", ends_by=["mass"], abilities={code: reach}, by=cast.owner)
    assert raised.value.field == field


def test_what_every_site_shares_needs_a_role_over_every_site(bar: Bar, cast: Cast) -> None:
    assign_role(person=cast.barista, role=Role.HEAD_ROASTER, site_id=cast.site.pk, by=cast.owner)
    local = type(cast.barista).objects.get(pk=cast.barista.pk)
    with pytest.raises(NotPermitted, match="for all sites"):
        add_machine_type(name="New", ends_by=["mass"], abilities=reaches(), by=local)
    assert add_machine(site=cast.site, name="Mine", machine_type=bar.machine_type, by=local).pk
    with pytest.raises(NotPermitted):
        add_machine(site=cast.other_site, name="Mine", machine_type=bar.machine_type, by=local)
