"""The demo's bars: five sites in three time zones, nine machines, twenty-two stations."""

from collections.abc import Iterator
from decimal import Decimal

from people.persons.models import User
from stations.equipment.actions import add_machine, add_site, add_station
from stations.equipment.models import Site
from stations.machine_types.actions import Reach, add_machine_type
from stations.machine_types.models import MachineType

SLOTS = 4

SITES = (
    ("harbour", "Harbour", "Europe/Lisbon", "12"),
    ("tramway", "Tramway", "Europe/Lisbon", "85"),
    ("brickworks", "Brickworks", "Europe/Vienna", "171"),
    ("summit", "Summit", "Europe/Vienna", "2180"),
    ("citadel", "Citadel", "Europe/Athens", "110"),
)

Table = dict[str, tuple[str, str, str]]

# Ranges of a machine in its own unit: minimum, maximum, step. Common practice, no source.
COUNTED: Table = {
    "water_volume": ("20", "2000", "1"),
    "brew_temperature": ("85", "98", "0.1"),
    "preinfusion_time": ("0", "15", "0.5"),
}
STAGED: Table = {
    **COUNTED,
    "preinfusion_pressure": ("0", "5", "0.1"),
    "rise_time": ("0", "10", "0.1"),
    "intermediate_pressure": ("1", "10", "0.1"),
    "brew_pressure": ("3", "10", "0.1"),
    "taper_start": ("20", "2000", "1"),
    "taper_pressure": ("1", "10", "0.1"),
}
WEIGHED: Table = {**STAGED, "beverage_mass": ("10", "200", "0.1")}

MACHINE_TYPES: dict[str, tuple[list[str], Table]] = {
    "Water counted": (["operator", "volume"], COUNTED),
    "Water counted, pressure in stages": (["operator", "volume", "time"], STAGED),
    "Cup weighed, pressure in stages": (["operator", "volume", "mass", "time"], WEIGHED),
}

# Site, machine, its type, then each station's pulses per mL and its temperature offset in °C.
MACHINES: tuple[tuple[str, str, str, tuple[tuple[str, str], ...]], ...] = (
    ("harbour", "Front counter", "Water counted, pressure in stages",
     (("4.02", "-0.4"), ("3.97", "-0.2"), ("4.11", "-0.6"))),
    ("harbour", "Terrace", "Water counted", (("3.88", "-0.9"), ("3.91", "-1.1"))),
    ("tramway", "Window", "Water counted, pressure in stages", (("4.05", "-0.3"), ("4.00", "-0.5"))),
    ("tramway", "Long bar", "Water counted", (("3.94", "-0.8"), ("3.99", "-0.7"), ("3.86", "-1.2"))),
    ("brickworks", "Kiln side", "Cup weighed, pressure in stages",
     (("4.08", "0.1"), ("4.03", "0.0"), ("4.06", "-0.1"))),
    ("brickworks", "Yard side", "Water counted, pressure in stages", (("4.01", "-0.4"), ("3.95", "-0.5"))),
    ("summit", "Cable car hall", "Water counted, pressure in stages", (("4.04", "-0.2"), ("4.09", "-0.4"))),
    ("citadel", "Gate", "Water counted, pressure in stages",
     (("3.98", "-0.3"), ("4.07", "-0.5"), ("4.02", "-0.2"))),
    ("citadel", "Steps", "Water counted", (("3.90", "-1.0"), ("3.93", "-0.6"))),
)  # fmt: skip


def make_sites(by: User) -> dict[str, Site]:
    """The five bars, by code."""
    return {
        code: add_site(by=by, code=code, name=name, time_zone=zone, altitude=Decimal(altitude))
        for code, name, zone, altitude in SITES
    }


def make_machines(by: User, sites: dict[str, Site]) -> None:
    """Machine types, machines, stations and their slots."""
    types = {name: _machine_type(by, name) for name in MACHINE_TYPES}
    for site, name, built, stations in MACHINES:
        machine = add_machine(by=by, site=sites[site], name=name, machine_type=types[built])
        for number, (pulses, offset) in enumerate(stations, start=1):
            add_station(
                by=by,
                machine=machine,
                number=number,
                slots=SLOTS,
                pulses_per_millilitre=Decimal(pulses),
                temperature_offset=Decimal(offset),
            )


def _machine_type(by: User, name: str) -> MachineType:
    endings, table = MACHINE_TYPES[name]
    return add_machine_type(by=by, name=name, ends_by=endings, abilities=dict(_reaches(table)))


def _reaches(table: Table) -> Iterator[tuple[str, Reach]]:
    for code, (low, high, step) in table.items():
        yield code, Reach(Decimal(low), Decimal(high), Decimal(step))
