"""The demo's bar that moves: a simulated bar for one site, as its equipment and recipes are.

The bar is the reference gateway's own (docs/writing-a-driver.md); here is only what its map says.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from people.persons.models import User
from recipes.demo.people import MEMBERS
from stations.equipment.models import Machine, Site, Station
from stations.gateways.actions import add_gateway
from stations.slots.models import Placement

NAME = "Box under the counter"
DIALLED = ("dose_mass", "shot_time", "beverage_mass")
# Habits and wear that show within a day: set, no source.
HEAD = """seed = {seed}
pour = "simulator.shot:pour"
orders_per_hour = 24
hours = [1, 1, 1, 1, 1, 1, 3, 4, 4, 3, 2, 2, 3, 3, 2, 2, 2, 2, 1, 1, 1, 1, 1, 1]
habits = {{ saves_over = 0.002, pulls_short = 0.01, forgets_to_weigh = 0.6 }}
"""
STATION = """
[[station]]
machine = "{machine}"
number = {number}
slots = {slots}
is = {{ pulses_per_ml = {pulses}, probe_offset = {offset}, noise = 0.03 }}
wears = {{ meter = 0.01, grinder = 0.03, scale = 0.05, fines = 0.005, channels = 0.005 }}
dial = [{dials}]
"""


def map_of(site: Site) -> str:
    """The map (TOML) of a bar like this site."""
    stations = Station.objects.filter(machine__site=site).order_by("machine__name", "number")
    parts = [_station(each) for each in stations.select_related("machine")]
    return HEAD.format(seed=site.pk) + "".join(parts)


def code_for(site: Site) -> str:
    """A code to enrol the bar's gateway with, made by the lead of the site."""
    lead = next(
        each for each in MEMBERS if each.key.startswith("lead_") and site.code in each.sites
    )
    by = User.objects.get(email=lead.email)
    number = site.gateways.count()
    _, code = add_gateway(by=by, site=site, name=f"{NAME} {number + 1}" if number else NAME)
    return code


def _station(station: Station) -> str:
    machine: Machine = station.machine
    slots = list(station.slots.order_by("number").values_list("number", flat=True))
    placements = Placement.objects.in_force().filter(slot__station=station)
    dials = ", ".join(_dials(placements.select_related("settings", "slot")))
    return STATION.format(
        machine=machine.name,
        number=station.number,
        slots=slots,
        pulses=station.pulses_per_millilitre or 2,
        offset=station.temperature_offset or 0,
        dials=dials,
    )


def _dials(placements: Any) -> Iterator[str]:  # noqa: ANN401 - a queryset
    """What somebody dials in at each slot: what its shots are held against."""
    for placement in placements:
        cup: Mapping[str, Mapping[str, str]] = placement.settings.cup or {}
        if all(code in cup for code in DIALLED):
            dose, seconds, beverage = (cup[code]["target"] for code in DIALLED)
            yield (
                f"{{ slot = {placement.slot.number}, dose = {dose}, seconds = {seconds}, "
                f"beverage = {beverage} }}"
            )
