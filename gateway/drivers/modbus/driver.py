"""The four methods over Modbus/TCP: read and write registers of slots, read figures of shots."""

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from pymodbus.client import ModbusTcpClient
from pymodbus.exceptions import ModbusException
from pymodbus.pdu import ModbusPDU

from gateway import VERSION
from gateway.driver import (
    Description,
    DriverError,
    Equipped,
    Place,
    RefusedError,
    Shot,
    SilentError,
    Station,
)
from gateway.drivers.modbus.mapping import FIGURES, MachineMap, StationMap, read
from gateway.drivers.modbus.registers import Register, runs
from gateway.ranges import Settings, outside

LOOK = 0.25  # s between two looks for a shot
REST = 5.0  # s before a machine that did not answer is asked again
REFUSALS = (2, 3)  # exception codes: no such address, no such value


def from_map(map_file: Path, _folder: Path) -> "ModbusMachines":
    """The driver of the machines in a map. Raises MapError."""
    return ModbusMachines(read(map_file))


@dataclass
class Wire:
    """The connection to one machine, made when it is needed and again when it is lost."""

    machine: MachineMap
    asked_again: float = 0.0
    client: ModbusTcpClient = field(init=False)

    def __post_init__(self) -> None:
        at = self.machine
        self.client = ModbusTcpClient(at.host, port=at.port, timeout=at.timeout, retries=1)

    def values(self, registers: Mapping[str, Register]) -> dict[str, list[int]]:
        """The registers of each, as few requests as they lie in. Raises SilentError."""
        found: dict[tuple[int, int], int] = {}
        for function in {each.read for each in registers.values()}:
            each_read = [each for each in registers.values() if each.read == function]
            for run in runs(place for each in each_read for place in each.place):
                for place, value in zip(run, self._read(function, run), strict=True):
                    found[function, place] = value
        return {
            name: [found[each.read, place] for place in each.place]
            for name, each in registers.items()
        }

    def write(self, registers: Mapping[str, Register], values: Mapping[str, list[int]]) -> None:
        """Write them: neighbours in one request, so that they change together."""
        several = {name: each for name, each in registers.items() if each.write == 16}
        image = {
            place: value
            for name, each in several.items()
            for place, value in zip(each.place, values[name], strict=True)
        }
        device = self.machine.device
        for run in runs(image):
            words = [image[place] for place in run]
            self._ask(self.client.write_registers, run.start, words, device_id=device)
        for name, each in registers.items():
            if each.write == 6:
                self._ask(self.client.write_register, each.at, values[name][0], device_id=device)

    def _read(self, function: int, run: range) -> Sequence[int]:
        client = self.client
        read = client.read_holding_registers if function == 3 else client.read_input_registers
        device = self.machine.device
        return self._ask(read, run.start, count=len(run), device_id=device).registers

    def _ask(self, call: Callable[..., ModbusPDU], *told: object, **named: object) -> ModbusPDU:
        if time.monotonic() < self.asked_again:
            raise SilentError(f"machine {self.machine.name} did not answer a moment ago")
        try:
            if not self.client.connect():
                raise SilentError(f"machine {self.machine.name} is not at {self.machine.host}")
            answer = call(*told, **named)
        except (ModbusException, OSError, SilentError) as problem:
            self.client.close()
            self.asked_again = time.monotonic() + REST
            raise SilentError(f"machine {self.machine.name}: {problem}") from problem
        if not answer.isError():
            return answer
        code = getattr(answer, "exception_code", 0)
        words = f"machine {self.machine.name} answers {told[0]} with exception {code}"
        raise RefusedError(words) if code in REFUSALS else DriverError(words)


class ModbusMachines:
    """A driver over the machines of a map."""

    def __init__(self, machines: Sequence[MachineMap]) -> None:
        self.wires: dict[Station, Wire] = {}
        self.maps: dict[Station, StationMap] = {}
        for machine in machines:
            wire = Wire(machine)
            for station in machine.stations:
                self.wires[station.at], self.maps[station.at] = wire, station

    def describe(self) -> Description:
        """Every station of the map; one answers if its count of shots can be read."""
        stations = [
            Equipped(at, range(1, each.slots + 1), each.ranges, each.endings, self._answers(at))
            for at, each in self.maps.items()
        ]
        return Description("modbus", VERSION, stations)

    def load(self, place: Place, settings: Settings) -> None:
        """Write one slot. Everything is worked out before anything is written, and what was
        written is put back where the machine refuses the rest."""
        station = self._station(place)
        registers = station.of_slot(place.number)
        found = list(outside(settings, station.ranges))
        found += [f"{code} cannot be set here" for code in settings if code not in registers]
        if found:
            raise RefusedError("; ".join(found))
        written = {
            code: each
            for code, each in registers.items()
            if code in settings or each.absent is not None
        }
        values = {code: each.registers(settings.get(code)) for code, each in written.items()}
        wire = self.wires[place.at]
        before = wire.values(written)
        try:
            wire.write(written, values)
        except RefusedError:
            with suppress(RefusedError):  # in the same order: what was written comes first
                wire.write(written, before)
            raise

    def read_back(self, place: Place) -> Settings:
        """Read one slot."""
        registers = self._station(place).of_slot(place.number)
        values = self.wires[place.at].values(registers)
        found = {code: each.amount(values[code]) for code, each in registers.items()}
        return {code: amount for code, amount in found.items() if amount is not None}

    def shots(self, after: Mapping[Station, str]) -> Iterator[Shot | None]:
        """Watch each station's count; when it moves, read the figures of the last shot.

        A machine that keeps figures of its last shot only cannot tell those before: they are
        counted as missed.
        """
        seen = {at: int(mark) for at, mark in after.items() if at in self.maps}
        while True:
            for at in self.maps:
                try:
                    shot = self._look(at, seen)
                except DriverError:
                    continue  # `describe` says who does not answer
                if shot:
                    yield shot
            time.sleep(LOOK)
            yield None

    def _look(self, at: Station, seen: dict[Station, int]) -> Shot | None:
        shot, wire = self.maps[at].shot, self.wires[at]
        count = shot["count"].number(wire.values({"count": shot["count"]})["count"])
        if at not in seen:
            seen[at] = count  # what was pulled before we came is not ours to tell
        if count == seen[at]:
            return None
        values = wire.values(shot)
        again = wire.values({"count": shot["count"]})["count"]
        if values["count"] != again:
            return None  # another one ended while this was read: all of it once more
        count = shot["count"].number(again)
        counts = shot["count"].kind.bounds[1] + 1
        if not count and was_set_back(seen[at], count, counts):
            seen[at] = count  # nothing was pulled since
            return None
        told = self._shot(at, str(count), missed_between(seen[at], count, counts), values)
        seen[at] = count  # not before: one without readable figures is missed by the next
        return told

    def _shot(self, at: Station, mark: str, missed: int, values: Mapping[str, list[int]]) -> Shot:
        shot = self.maps[at].shot
        told: dict[str, Decimal] = {
            name: shot[name].value(each) for name, each in values.items() if FIGURES[name]
        }
        number = shot["slot"].number(values["slot"])
        began = datetime.now(UTC) - timedelta(seconds=float(told["shot_time"]))
        place = Place(at.machine, at.station, number)
        return Shot(
            place=place,
            mark=mark,
            pulled_at=began,
            shot_time=told["shot_time"],
            dose_mass=told.get("dose_mass"),
            beverage_mass=told.get("beverage_mass"),
            water_volume=told.get("water_volume"),
            brew_temperature=told.get("brew_temperature"),
            missed=missed,
        )

    def _answers(self, at: Station) -> bool:
        count = {"count": self.maps[at].shot["count"]}
        try:
            self.wires[at].values(count)
        except DriverError:
            return False
        return True

    def _station(self, place: Place) -> StationMap:
        station = self.maps.get(place.at)
        if station is None or not 1 <= place.number <= station.slots:
            raise SilentError(f"the map has no slot {place}")
        return station


def missed_between(before: int, now: int, counts: int) -> int:
    """How many shots were pulled between two looks, besides the last.

    ``counts`` is how far the counter goes before it begins again. A count that went back by more
    than half of that was set back, by a new board for one: nothing is known then.
    """
    return 0 if was_set_back(before, now, counts) else max(0, (now - before) % counts - 1)


def was_set_back(before: int, now: int, counts: int) -> bool:
    """Whether a count did not go on, but back."""
    return (now - before) % counts > counts // 2
