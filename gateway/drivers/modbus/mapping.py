"""The map of a machine's registers (TOML), read strictly.

A map names settings of recipe slots and figures of shots, and nothing else: there is no word in it
for a boiler, a pump or a valve, no coil, and no function code that switches anything.
"""

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from gateway.driver import MapError, Station
from gateway.drivers.modbus.registers import Kind, Register
from gateway.ranges import ENDINGS, ENDS_BY, RANGES, Range

READS = (3, 4)  # holding registers, input registers
WRITES = (6, 16)  # one holding register, several of them
FIGURES = {
    "count": "",  # shots pulled so far; it counts on through a power cut
    "slot": "",  # the number of the slot that the last one was pulled from
    "shot_time": "s",
    "dose_mass": "g",
    "beverage_mass": "g",
    "water_volume": "mL",
    "brew_temperature": "Cel",
}
NEEDED = ("count", "slot", "shot_time")
OF_MACHINE = {"name", "host", "port", "device", "timeout", "station"}
OF_STATION = {"number", "slots", "first_slot", "slot_size", "settings", "shot"}
OF_FIGURE = {"at", "type", "scale", "word_order", "read"}
OF_SETTING = {*OF_FIGURE, "unit", "write", "words", "low", "high", "absent"}


@dataclass(frozen=True)
class StationMap:
    """One station: its slots, each like the next, and where its last shot's figures lie."""

    at: Station
    slots: int
    first_slot: int
    slot_size: int
    settings: Mapping[str, Register]  # from a slot's first register on
    ranges: Mapping[str, Range]
    shot: Mapping[str, Register]

    def of_slot(self, number: int) -> dict[str, Register]:
        """Where the settings of a slot lie."""
        by = self.first_slot + (number - 1) * self.slot_size
        return {code: register.shifted(by) for code, register in self.settings.items()}

    @property
    def endings(self) -> tuple[str, ...]:
        """How a shot of it can end."""
        return tuple(self.settings[ENDS_BY].words) if ENDS_BY in self.settings else ()


@dataclass(frozen=True)
class MachineMap:
    """One machine: where it answers, and its stations."""

    name: str
    host: str
    port: int
    device: int
    timeout: float
    stations: tuple[StationMap, ...]


def read(file: Path) -> list[MachineMap]:
    """The machines of a map. Raises MapError, which names what is wrong and what is allowed."""
    try:
        told = tomllib.loads(file.read_text())
        known(told, {"machine"}, "the map")
        machines = [_machine(each) for each in told["machine"]]
        _all_apart(machines)
        return machines
    except MapError as problem:
        raise MapError(f"{file}: {problem}") from None
    except (OSError, KeyError, TypeError, ValueError, ArithmeticError, AttributeError) as problem:
        raise MapError(f"{file}: {problem!r}") from problem


def known(told: Mapping[str, Any], allowed: set[str], where: str) -> None:
    """Refuse what the format has no word for."""
    if unknown := set(told) - allowed:
        raise MapError(
            f"{where} names {', '.join(sorted(unknown))}; allowed: {', '.join(sorted(allowed))}"
        )


def _machine(told: Mapping[str, Any]) -> MachineMap:
    name = str(told["name"])
    known(told, OF_MACHINE, f"machine {name}")
    stations = tuple(_station(each, name) for each in told["station"])
    return MachineMap(
        name,
        str(told["host"]),
        int(told.get("port", 502)),
        int(told.get("device", 1)),
        float(told.get("timeout", 1.0)),
        stations,
    )


def _station(told: Mapping[str, Any], machine: str) -> StationMap:
    at = Station(machine, int(told["number"]))
    known(told, OF_STATION, f"station {at}")
    known(told["settings"], {*RANGES, ENDS_BY}, f"settings of station {at}")
    known(told["shot"], set(FIGURES), f"shot of station {at}")
    settings = {code: _setting(code, each) for code, each in told["settings"].items()}
    shot = {name: _figure(name, each) for name, each in told["shot"].items()}
    if lacking := [name for name in NEEDED if name not in shot]:
        raise MapError(f"shot of station {at} lacks {', '.join(lacking)}")
    for code, register in settings.items():
        if register.at < 0 or register.place.stop > int(told["slot_size"]):
            raise MapError(f"{code} lies outside its slot of {told['slot_size']} registers")
    return StationMap(
        at,
        int(told["slots"]),
        int(told["first_slot"]),
        int(told["slot_size"]),
        settings,
        {code: _range(code, each) for code, each in told["settings"].items() if code in RANGES},
        shot,
    )


def _setting(code: str, told: Mapping[str, Any]) -> Register:
    known(told, OF_SETTING, code)
    register = _register(code, told, unit=str(told.get("unit", "")))
    words = {str(word): int(number) for word, number in told.get("words", {}).items()}
    if code == ENDS_BY:
        if not words or set(words) - set(ENDINGS):
            raise MapError(f"{code} needs words out of {', '.join(ENDINGS)}")
        if len(set(words.values())) < len(words):
            raise MapError(f"{code} needs a number of its own for each word")
    elif words or register.unit != RANGES[code].unit:
        raise MapError(f"{code} is a number in {RANGES[code].unit}")
    write = int(told.get("write", 16))
    if write not in WRITES or (write == 6 and register.kind.size > 1) or register.read != 3:
        raise MapError(f"{code} is read by 3 and written by 16, or by 6 where it is one register")
    absent = told.get("absent")
    own = {"write": write, "words": words, "absent": None if absent is None else int(absent)}
    return Register(**{**vars(register), **own})


def _figure(name: str, told: Mapping[str, Any]) -> Register:
    known(told, OF_FIGURE, f"figure {name}")
    return _register(name, told, unit=FIGURES[name])


def _register(name: str, told: Mapping[str, Any], *, unit: str) -> Register:
    scale, read = Decimal(str(told.get("scale", "1"))), int(told.get("read", 3))
    order = told.get("word_order", "big")
    if order not in {"big", "little"} or read not in READS or scale <= 0:
        raise MapError(f"{name}: word_order is big or little, read 3 or 4, scale above 0")
    kind = Kind(str(told.get("type", "uint16")))
    return Register(int(told["at"]), kind, scale, unit, order, read)


def _range(code: str, told: Mapping[str, Any]) -> Range:
    """What this machine takes: the hard range, or the part of it that the map says."""
    hard = RANGES[code]
    low, high = Decimal(str(told.get("low", hard.low))), Decimal(str(told.get("high", hard.high)))
    if not hard.low <= low <= high <= hard.high:
        raise MapError(f"{code} from {low} to {high}; allowed: {hard}")
    return Range(low, high, hard.unit)


def _all_apart(machines: Sequence[MachineMap]) -> None:
    """No station comes twice, and no register of a device, whichever machines it is named for."""
    devices: dict[tuple[str, int, int], list[StationMap]] = {}
    known_already: set[Station] = set()
    for machine in machines:
        devices.setdefault((machine.host, machine.port, machine.device), []).extend(
            machine.stations
        )
        for each in machine.stations:
            if each.at in known_already:
                raise MapError(f"station {each.at} comes twice")
            known_already.add(each.at)
    for stations in devices.values():
        _apart(stations)


def _apart(stations: Sequence[StationMap]) -> None:
    """No register means two things, or a setting would be written over another."""
    taken: dict[int, str] = {}
    for name, register in _all(stations):
        for place in register.place:
            if not 0 <= place <= 0xFFFF:
                raise MapError(f"{name}: there is no register {place}")
            if place in taken:
                raise MapError(f"register {place} is {taken[place]} and {name}")
            taken[place] = name


def _all(stations: Sequence[StationMap]) -> Iterator[tuple[str, Register]]:
    for each in stations:
        for number in range(1, each.slots + 1):
            for code, register in each.of_slot(number).items():
                yield f"{code} of slot {each.at}/{number}", register
        for name, register in each.shot.items():
            if register.read == 3:  # input registers are numbered on their own
                yield f"{name} of the last shot of {each.at}", register
