"""The kit passes our drivers and finds what another one may get wrong."""

import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from gateway.driver import Description, Driver, Place, Shot, Station, Trace
from gateway.drivers.simulated.bar import Bar, read
from gateway.drivers.simulated.driver import SimulatedBar
from gateway.ranges import Amount, Range, Settings
from gateway.testkit.checks import shot_faults
from gateway.testkit.kit import NoSuchSlotError, check, place_of
from tests.gateway.boxes import Box
from tests.gateway.modbus_machine import machine, map_of, write
from tests.tooling.listing import ROOT

SLOT = Place("M1", 1, 1)


@pytest.fixture
def bar(tmp_path: Path) -> Bar:
    box = Box(tmp_path, "")
    box.write_map(hours=24)
    return read(tmp_path / "map.toml")


def found(driver: Driver) -> dict[str, list[str]]:
    return {name: words for name, words in check(driver, SLOT) if words}


def test_the_simulated_bar_passes_and_its_slot_is_put_back(bar: Bar) -> None:
    made = SimulatedBar(bar)
    before = made.read_back(SLOT)
    assert found(made) == {}
    assert made.read_back(SLOT) == before


def test_the_modbus_driver_passes_from_the_command_line(tmp_path: Path) -> None:
    with machine() as port:
        for first in (1000, 1020, 1040, 1060):
            write(port, first, 160, 0, 930, 0x4110, 0)  # 9.0 as float32
            write(port, first + 8, 65535, 0, 1)
        (tmp_path / "map.toml").write_text(map_of(port))
        done = run("--driver", "modbus", "--map", str(tmp_path / "map.toml"), "--slot", "M1/1/1")
    assert (done.returncode, "FOUND" in done.stdout) == (0, False), done.stdout + done.stderr


def test_a_slot_that_is_not_there_is_said_in_words(bar: Bar, tmp_path: Path) -> None:
    with pytest.raises(NoSuchSlotError):
        list(check(SimulatedBar(bar), Place("M1", 1, 9)))
    done = run("--driver", "simulated", "--map", str(tmp_path / "map.toml"), "--slot", "M1/1/9")
    assert (done.returncode, "no slot M1/1/9" in done.stderr) == (1, True)


def run(*told: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "gateway", "check-driver", *told]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)


class Twice(SimulatedBar):
    def describe(self) -> Description:
        told = super().describe()
        return replace(told, stations=[*told.stations, *told.stations])


class Boiler(SimulatedBar):
    def describe(self) -> Description:
        told = super().describe()
        able = {"boiler_pressure": Range(Decimal(0), Decimal(2), "bar")}
        return replace(told, stations=[replace(each, settings=able) for each in told.stations])


class Hot(SimulatedBar):
    def describe(self) -> Description:
        told = super().describe()
        able = {"brew_temperature": Range(Decimal(80), Decimal(130), "Cel")}
        return replace(told, stations=[replace(each, settings=able) for each in told.stations])


class Remembers(SimulatedBar):
    """Answers what it was told, not what the machine holds."""

    def read_back(self, place: Place) -> Settings:
        return {**super().read_back(place), "rise_time": Amount("3", "s")}


class Fahrenheit(SimulatedBar):
    def read_back(self, place: Place) -> Settings:
        return {**super().read_back(place), "brew_temperature": Amount("200", "[degF]")}


class Anywhere(SimulatedBar):
    def read_back(self, place: Place) -> Settings:
        return super().read_back(place if place.number in (1, 2) else SLOT)


class TakesAll(SimulatedBar):
    def load(self, place: Place, settings: Settings) -> None:
        self.bar.hold(place, settings)


class HalfLoads(SimulatedBar):
    """Writes first, and looks afterwards."""

    def load(self, place: Place, settings: Settings) -> None:
        if place.number in (1, 2) and "rise_time" in settings:
            held = self.bar.groups[place.at].memory[place.number]
            held["rise_time"] = settings["rise_time"]
        super().load(place, settings)


class EverySlot(SimulatedBar):
    def load(self, place: Place, settings: Settings) -> None:
        super().load(place, settings)
        super().load(replace(place, number=2), settings)


class Ends(SimulatedBar):
    def shots(self, after: Mapping[Station, str]) -> Iterator[Shot | None]:
        yield None


class FromTheStart(SimulatedBar):
    def shots(self, after: Mapping[Station, str]) -> Iterator[Shot | None]:
        return super().shots({})


class Raises(SimulatedBar):
    def read_back(self, place: Place) -> Settings:
        if place.number > 2:
            raise KeyError(place)
        return super().read_back(place)


@pytest.mark.parametrize(
    ("made", "check_that_finds"),
    [
        (Twice, "describes"),
        (Boiler, "describes"),
        (Hot, "describes"),
        (Fahrenheit, "reads"),
        (Remembers, "loads"),
        (Anywhere, "knows its slots"),
        (Raises, "knows its slots"),
        (TakesAll, "refuses"),
        (HalfLoads, "refuses"),
        (EverySlot, "keeps to its slot"),
        (Ends, "streams"),
        (FromTheStart, "streams"),
    ],
)
def test_what_a_driver_gets_wrong_is_found(
    bar: Bar, made: Callable[[Bar], SimulatedBar], check_that_finds: str
) -> None:
    assert check_that_finds in found(made(bar))


@pytest.mark.parametrize(
    "wrong",
    [
        {"mark": ""},
        {"pulled_at": datetime(2026, 11, 29, 8, 0)},  # noqa: DTZ001
        {"pulled_at": datetime(1970, 1, 1, tzinfo=UTC)},
        {"shot_time": 27.5},
        {"trace": Trace(t=(0.0, 0.0))},
        {"trace": Trace(t=(0.0, 0.5), flow=(1.0,))},
    ],
)
def test_what_is_wrong_with_a_shot_is_found(wrong: dict[str, Any]) -> None:
    shot = Shot(SLOT, "1", datetime(2026, 11, 29, 8, 0, tzinfo=UTC), Decimal("27.5"))
    assert list(shot_faults(shot)) == []
    assert list(shot_faults(replace(shot, **wrong)))


def test_a_slot_is_typed_with_a_machine_of_any_name() -> None:
    assert place_of("Bar / left/2/11") == Place("Bar / left", 2, 11)
