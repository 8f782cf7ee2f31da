"""The Modbus driver against a machine in another process, and what its map may not say."""

import struct
from collections.abc import Iterator
from decimal import Decimal
from itertools import islice
from pathlib import Path

import pytest

from gateway.driver import DriverError, MapError, Place, RefusedError, Shot, SilentError, Station
from gateway.drivers import driver
from gateway.drivers.modbus.driver import ModbusMachines, missed_between
from gateway.drivers.modbus.mapping import FIGURES, OF_FIGURE, OF_SETTING, OF_STATION
from gateway.drivers.modbus.mapping import read as read_map
from gateway.drivers.modbus.registers import Kind, Register, runs
from gateway.ranges import CODES, PULSE, Amount
from tests.gateway.modbus_machine import machine, map_of, read, write

ONE, TWO = Station("M1", 1), Station("M1", 2)
SLOT = Place("M1", 1, 2)
WANTED = {
    "water_volume": Amount("166", PULSE),
    "brew_temperature": Amount("92.5", "Cel"),
    "brew_pressure": Amount("8.7", "bar"),
    "preinfusion_time": Amount("4.5", "s"),
    "ends_by": Amount("volume"),
}


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    with machine() as found:
        yield found


@pytest.fixture
def machines(port: int, tmp_path: Path) -> ModbusMachines:
    write(port, 3000, *[0] * 20)
    (tmp_path / "map.toml").write_text(map_of(port))
    made = driver("modbus", tmp_path / "map.toml", tmp_path)
    assert isinstance(made, ModbusMachines)
    return made


def test_what_is_loaded_lies_in_the_registers_of_the_map_and_nowhere_else(
    machines: ModbusMachines, port: int
) -> None:
    write(port, 1000, *[7] * 80)
    machines.load(SLOT, WANTED)
    registers = read(port, 1000, 80)
    assert registers[20:24] == [166, 0, 925, 0x410B]  # 8.7 as float32: 0x410B3333
    assert registers[24] == 0x3333
    assert [registers[28], registers[30]] == [45, 1]
    untouched = [at for at in range(80) if at not in {20, 21, 22, 23, 24, 28, 30}]
    assert {registers[at] for at in untouched} == {7}


def test_what_was_loaded_is_read_back_exactly(machines: ModbusMachines) -> None:
    machines.load(SLOT, WANTED)
    assert machines.read_back(SLOT) == WANTED


def test_what_a_recipe_does_not_say_is_taken_out_of_the_slot(machines: ModbusMachines) -> None:
    machines.load(SLOT, WANTED)
    less = {code: amount for code, amount in WANTED.items() if code != "preinfusion_time"}
    machines.load(SLOT, less)
    assert machines.read_back(SLOT) == less


@pytest.mark.parametrize(
    ("code", "amount"),
    [
        ("water_volume", Amount("70000", PULSE)),
        ("brew_temperature", Amount("97.5", "Cel")),
        ("brew_temperature", Amount("92.55", "Cel")),
        ("brew_temperature", Amount("92.5", "K")),
        ("brew_pressure", Amount("12.5", "bar")),
        ("ends_by", Amount("mass")),
        ("rise_time", Amount("3", "s")),
        ("boiler_pressure", Amount("1", "bar")),
    ],
)
def test_what_the_machine_cannot_hold_is_refused_before_anything_is_written(
    machines: ModbusMachines, port: int, code: str, amount: Amount
) -> None:
    machines.load(SLOT, WANTED)
    before = read(port, 1000, 80)
    with pytest.raises(RefusedError):
        machines.load(SLOT, {**WANTED, "water_volume": Amount("99", PULSE), code: amount})
    assert read(port, 1000, 80) == before


def test_a_setting_that_cannot_be_left_out_is_not(machines: ModbusMachines) -> None:
    machines.load(SLOT, {"brew_temperature": Amount("90.0", "Cel")})
    assert machines.read_back(SLOT)["brew_temperature"] == Amount("90.0", "Cel")


def test_registers_that_are_not_there_are_said_to_be(port: int, tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(map_of(port).replace("first_slot = 1000", "first_slot = 90"))
    with pytest.raises(RefusedError, match="exception 2"):
        driver("modbus", tmp_path / "map.toml", tmp_path).load(SLOT, WANTED)


def test_what_was_written_before_a_register_refused_is_put_back(port: int, tmp_path: Path) -> None:
    text = map_of(port).replace("first_slot = 1040", "first_slot = 1072")
    (tmp_path / "map.toml").write_text(text)
    write(port, 1072, 160, 0, 930)
    before = read(port, 1000, 100)
    with pytest.raises(RefusedError, match="1082"):
        driver("modbus", tmp_path / "map.toml", tmp_path).load(Place("M1", 2, 1), WANTED)
    assert read(port, 1000, 100) == before


def test_shots_are_told_as_they_are_pulled(machines: ModbusMachines, port: int) -> None:
    stream = machines.shots({})
    assert next(stream) is None
    write(port, 3000, 1, 2, 275, 0, 3620)
    shot = pulled(stream)
    assert (shot.place, shot.mark, shot.missed) == (SLOT, "1", 0)
    assert (shot.shot_time, shot.beverage_mass) == (Decimal("27.5"), Decimal("36.20"))
    assert shot.dose_mass is None
    write(port, 3010, 1, 1, 300, 0, 4000)
    assert pulled(stream).place == Place("M1", 2, 1)


def test_shots_go_on_after_a_mark_and_say_what_has_no_figures(
    machines: ModbusMachines, port: int
) -> None:
    write(port, 3000, 9, 2, 275, 0, 3620)
    shot = pulled(machines.shots({ONE: "5"}))
    assert (shot.mark, shot.missed) == ("9", 3)


def test_a_machine_that_is_switched_off_is_silent_and_comes_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("gateway.drivers.modbus.driver.REST", 0.0)
    with machine() as port:
        (tmp_path / "map.toml").write_text(map_of(port))
        made = driver("modbus", tmp_path / "map.toml", tmp_path)
        assert [each.answers for each in made.describe().stations] == [True, True]
    assert [each.answers for each in made.describe().stations] == [False, False]
    with pytest.raises(SilentError):
        made.read_back(SLOT)
    with pytest.raises(SilentError):
        made.load(SLOT, WANTED)
    assert next(made.shots({})) is None
    with machine(port):
        assert [each.answers for each in made.describe().stations] == [True, True]


def pulled(stream: Iterator[Shot | None]) -> Shot:
    (shot,) = islice((each for each in islice(stream, 20) if each), 1)
    return shot


# The map.

NEVER = ("boiler", "pump", "valve", "steam", "coil", "relay", "heater", "motor", "power")


def test_the_format_has_no_word_for_what_is_never_commanded() -> None:
    words = {*CODES, *FIGURES, *OF_SETTING, *OF_FIGURE, *OF_STATION}
    assert [each for each in words if any(word in each for word in NEVER)] == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("brew_pressure = {", "boiler_pressure = {"),
        ("brew_pressure = {", "pump = {"),
        ("brew_pressure = {", "steam_valve = {"),
        ("beverage_mass = {", "boiler_temperature = {"),
        ("[machine.station.shot]", "[machine.station.coils]\nx = 1\n[machine.station.shot]"),
        ("timeout = 1.0", "relays = [1]"),
        ("[[machine]]", "boiler = 1\n[[machine]]"),
        ('type = "int16"', 'type = "coil"'),
        ('type = "int16"', 'type = "int16", write = 5'),
        ('type = "int16"', 'type = "int16", write = 15'),
        ('type = "int16"', 'type = "int16", read = 1'),
        ('type = "int16"', 'type = "int16", read = 4'),
        ('type = "uint32"', 'type = "uint32", write = 6'),
        ('scale = "0.01"', 'scale = "0.01", write = 16'),
        ('scale = "0.01"', 'scale = "0.01", read = 2'),
        ('scale = "0.1", unit = "Cel"', 'scale = "0", unit = "Cel"'),
        ('unit = "Cel"', 'unit = "[degF]"'),
        ("high = 97", "high = 130"),
        ("volume = 1", "never = 1"),
        ("volume = 1", "volume = 2"),
        ("number = 2", "number = 1"),
        ("at = 10", "at = 3"),
        ("at = 10", "at = 25"),
        ("at = 10", "at = -1"),
        ('word_order = "little"', 'word_order = "middle"'),
        ("slot = { at = 3001 }", ""),
        ("slots = 2", ""),
        ('name = "M1"', ""),
        ("[[machine]]", "[[machine"),
    ],
)
def test_a_map_that_says_something_else_is_not_read(tmp_path: Path, old: str, new: str) -> None:
    text = map_of(502)
    assert old in text
    (tmp_path / "map.toml").write_text(text.replace(old, new, 1))
    with pytest.raises(MapError, match=r"map\.toml"):
        read_map(tmp_path / "map.toml")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("", "", "station M1/1 comes twice"),
        ('name = "M1"', 'name = "M2"', "register 1000 is"),
    ],
)
def test_no_station_and_no_register_is_two_things_in_two_machines_either(
    tmp_path: Path, old: str, new: str, words: str
) -> None:
    text = map_of(502)
    (tmp_path / "map.toml").write_text(text + text.replace(old, new))
    with pytest.raises(MapError, match=words):
        read_map(tmp_path / "map.toml")
    elsewhere = text.replace('"M1"', '"M2"').replace("timeout", "device = 2\ntimeout")
    (tmp_path / "map.toml").write_text(text + elsewhere)
    assert len(read_map(tmp_path / "map.toml")) == 2


@pytest.mark.parametrize("kind", Kind)
@pytest.mark.parametrize("order", ["big", "little"])
def test_every_type_says_the_same_there_and_back(kind: Kind, order: str) -> None:
    register = Register(0, kind, Decimal("0.1"), "bar", order)  # type: ignore[arg-type]
    for value in ("0.0", "9.3", "12.0"):
        raw = register.registers(Amount(value, "bar"))
        assert len(raw) == kind.size
        assert register.amount(raw) == Amount(value, "bar")


@pytest.mark.parametrize("value", ["9.04", "9.25", "8.7", "9"])
def test_a_float_between_two_steps_is_told_as_it_is(value: str) -> None:
    register = Register(0, Kind.FLOAT32, Decimal("0.1"), "bar")
    raw = list(struct.unpack(">HH", struct.pack(">f", float(value))))
    told = register.amount(raw)
    assert told
    assert told.equals(Amount(value, "bar"))


@pytest.mark.parametrize("raw", [[0x7FC0, 0], [0x7F80, 0], [0xFF80, 0]])
def test_registers_that_hold_no_number_are_a_fault_of_the_machine(raw: list[int]) -> None:
    register = Register(0, Kind.FLOAT32, Decimal("0.1"), "bar")
    with pytest.raises(DriverError, match="no number"):
        register.amount(raw)


def test_a_count_set_back_to_nothing_is_no_shot(machines: ModbusMachines, port: int) -> None:
    write(port, 3000, 0, 2, 275, 0, 3620)
    stream = machines.shots({ONE: "9"})
    assert [next(stream), next(stream)] == [None, None]
    write(port, 3000, 1, 2, 280, 0, 3620)
    shot = pulled(stream)
    assert (shot.mark, shot.missed) == ("1", 0)


def test_a_number_too_large_for_its_registers_is_refused() -> None:
    with pytest.raises(RefusedError):
        Register(0, Kind.UINT16).registers(Amount("65536"))


def test_neighbours_are_asked_for_together_but_not_too_many() -> None:
    assert list(runs([3, 1, 2, 7])) == [range(1, 4), range(7, 8)]
    assert [len(each) for each in runs(range(300))] == [120, 120, 60]
    assert list(runs([])) == []


@pytest.mark.parametrize(
    ("before", "now", "missed"),
    [(5, 6, 0), (5, 9, 3), (65535, 0, 0), (65534, 1, 2), (9, 0, 0), (40_000, 3, 25_538), (9, 2, 0)],
)
def test_a_counter_that_begins_again_is_told_from_one_set_back(
    before: int, now: int, missed: int
) -> None:
    assert missed_between(before, now, 65536) == missed
