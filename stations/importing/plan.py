"""What a file would add, and every line that stands against it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from people.persons.models import User
from people.persons.permissions import covered_sites, may_everywhere
from people.persons.verbs import Verb
from stations.equipment.models import Machine, Site, Station
from stations.importing.file import Fault, StationLine, read_lines, read_values
from stations.machine_types.models import MachineType

# The equipment that is there already, as far as a file speaks of it: four queries.


@dataclass(frozen=True)
class Present:
    """What the database holds, by the names a file uses."""

    sites: dict[str, Site]
    site_names: dict[str, str]
    machine_types: dict[str, MachineType]
    machines: dict[tuple[str, str], Machine]
    stations: dict[tuple[str, str, int], Any]
    covered: frozenset[int] | None
    may_add_sites: bool

    def may_touch(self, site_code: str) -> bool:
        """Whether the person's role covers that site; a new one needs a role that adds sites."""
        site = self.sites.get(site_code)
        if site is None:
            return self.may_add_sites
        return self.covered is None or site.pk in self.covered


def look(codes: Iterable[str], names: Iterable[str], by: User) -> Present:
    """Read what is there of these site codes; site names that others bear as well."""
    wanted = set(codes)
    sites = {site.code: site for site in Site.objects.filter(code__in=wanted)}
    machines = Machine.objects.filter(site__in=sites.values()).select_related(
        "site", "machine_type"
    )
    stations = (
        Station.objects.filter(machine__site__in=sites.values())
        .with_slot_count()
        .select_related("machine__site")
    )
    return Present(
        sites=sites,
        site_names=dict(Site.objects.filter(name__in=set(names)).values_list("name", "code")),
        machine_types={found.name: found for found in MachineType.objects.all()},
        machines={(m.site.code, m.name): m for m in machines},
        stations={(s.machine.site.code, s.machine.name, s.number): s for s in stations},
        covered=covered_sites(by, Verb.EQUIPMENT_IMPORT),
        may_add_sites=may_everywhere(by, Verb.SITE_EDIT),
    )


MachineKey = tuple[str, str]
MOST_REASONS = 2000  # characters that the history takes of them


@dataclass
class ImportPlan:
    """The new equipment by its names, each with the line that first speaks of it."""

    present: Present
    sites: dict[str, StationLine] = field(default_factory=dict)
    machines: dict[MachineKey, StationLine] = field(default_factory=dict)
    stations: list[StationLine] = field(default_factory=list)
    unchanged: int = 0
    faults: list[Fault] = field(default_factory=list)

    @property
    def slots(self) -> int:
        """How many slots the new stations have together."""
        return sum(line.slots for line in self.stations)

    @property
    def reasons(self) -> str:
        """Why values that are not usual stand, line by line."""
        given = [f"line {line.number}: {line.reason}" for line in self.stations if line.reason]
        return "; ".join(given)[:MOST_REASONS]


def plan_import(text: str, by: User) -> ImportPlan:
    """Compare a file with what is there; nothing is written. Raises Invalid if it is no such file.

    Faults are in the order of the lines.
    """
    cells, misshapen = read_lines(text)
    lines, unusable = read_values(cells)
    present = look({n.site_code for n in lines}, {n.site_name for n in lines if n.site_name}, by)
    plan = ImportPlan(present, faults=[*misshapen, *unusable])
    seen: dict[tuple[str, str, int], StationLine] = {}
    for line in lines:
        key = (line.site_code, line.machine, line.station)
        if not present.may_touch(line.site_code):
            _fault(plan, line, "site_code", line.site_code, "a site that your role covers")
        elif key in seen:
            allowed = f"each station once; it is in line {seen[key].number} already"
            _fault(plan, line, "station", line.station, allowed)
        elif _site(plan, line) and _machine(plan, line):
            _station(plan, line)
        seen.setdefault(key, line)
    _double_names(plan)
    plan.faults.sort(key=lambda fault: fault.line)
    return plan


def _fault(plan: ImportPlan, line: StationLine, name: str, value: object, allowed: str) -> bool:
    plan.faults.append(Fault(line.number, name, value, allowed))
    return False


def _site(plan: ImportPlan, line: StationLine) -> bool:
    """Whether the line's site is known, or becomes known by it."""
    known = plan.present.sites.get(line.site_code)
    first = plan.sites.get(line.site_code)
    if known:
        there = {"name": known.name, "time_zone": known.time_zone, "altitude": known.altitude}
        return _agrees(plan, line, there, "as the site is already there; its page changes it")
    if first:
        there = {"name": first.site_name, "time_zone": first.time_zone, "altitude": first.altitude}
        return _agrees(plan, line, there, f"as line {first.number} says")
    needed = {
        "site_name": line.site_name,
        "time_zone": line.time_zone,
        "altitude_m": line.altitude,
    }
    missing = [name for name, value in needed.items() if value in ("", None)]
    for name in missing:
        _fault(plan, line, name, "", "a value: the site is new")
    if missing:
        return False
    plan.sites[line.site_code] = line
    return True


def _agrees(plan: ImportPlan, line: StationLine, there: dict[str, object], why: str) -> bool:
    given = [
        ("site_name", line.site_name, there["name"]),
        ("time_zone", line.time_zone, there["time_zone"]),
        ("altitude_m", line.altitude, there["altitude"]),
    ]
    return _same(plan, line, given, why)


def _same(
    plan: ImportPlan, line: StationLine, given: Sequence[tuple[str, object, object]], why: str
) -> bool:
    """Whether every value given is the one that is there; an empty cell agrees with anything."""
    before = len(plan.faults)
    for name, value, held in given:
        if value not in ("", None) and value != held:
            _fault(plan, line, name, value, f"{_shown(held)}, {why}")
    return len(plan.faults) == before


def _shown(held: object) -> str:
    if held is None:
        return "nothing"
    return format(held, "f") if isinstance(held, Decimal) else str(held)


def _machine(plan: ImportPlan, line: StationLine) -> bool:
    """Whether the line's machine is known, or becomes known by it."""
    key = (line.site_code, line.machine)
    known, first = plan.present.machines.get(key), plan.machines.get(key)
    if known:
        given = [("machine_type", line.machine_type, known.machine_type.name)]
        return _same(plan, line, given, "as the machine is already there; its page changes it")
    if first:
        given = [("machine_type", line.machine_type, first.machine_type)]
        return _same(plan, line, given, f"as line {first.number} says")
    if line.machine_type not in plan.present.machine_types:
        names = (
            ", ".join(sorted(plan.present.machine_types)) or "the machine types: enter them first"
        )
        return _fault(plan, line, "machine_type", line.machine_type, f"one of {names}")
    plan.machines[key] = line
    return True


def _station(plan: ImportPlan, line: StationLine) -> None:
    known = plan.present.stations.get((line.site_code, line.machine, line.station))
    if known is None:
        plan.stations.append(line)
        return
    given = [
        ("slots", line.slots, known.slot_count),
        ("pulses_per_ml", line.pulses, known.pulses_per_millilitre),
        ("temperature_offset_c", line.offset, known.temperature_offset),
    ]
    if _same(plan, line, given, "as the station is already there; its page changes it"):
        plan.unchanged += 1


def _double_names(plan: ImportPlan) -> None:
    """Two sites can't bear one name, be it in the file or among those that are there."""
    bearers: dict[str, str] = dict(plan.present.site_names)
    for code, line in plan.sites.items():
        bearer = bearers.setdefault(line.site_name, code)
        if bearer != code:
            _fault(plan, line, "site_name", line.site_name, "a name no other site has")
