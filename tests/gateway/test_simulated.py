"""The simulated bar: from one seed, like a machine, and going on where it was."""

from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import pytest

from gateway.driver import MapError, Place, RefusedError, Shot, SilentError, Station
from gateway.drivers import driver
from gateway.drivers.simulated.bar import Habits, read
from gateway.drivers.simulated.driver import SimulatedBar
from gateway.ranges import PULSE, Amount
from tests.gateway.boxes import Box

AT = Station("M1", 1)
ONE = Place("M1", 1, 1)
WANTED = {
    "water_volume": Amount("170", PULSE),
    "brew_temperature": Amount("92.0", "Cel"),
    "ends_by": Amount("volume"),
}


@pytest.fixture
def box(tmp_path: Path) -> Box:
    made = Box(tmp_path, "")
    made.write_map(hours=24)
    return made


@pytest.fixture
def bar(box: Box) -> SimulatedBar:
    return SimulatedBar(read(box.folder / "map.toml", box.folder))


def pulled(shots: Iterator[Shot | None], many: int) -> list[Shot]:
    return list(islice((shot for shot in shots if shot), many))


def test_the_same_seed_pours_the_same_shots(box: Box, bar: SimulatedBar) -> None:
    again = SimulatedBar(read(box.folder / "map.toml", box.folder))
    assert pulled(bar.shots({}), 20) == pulled(again.shots({}), 20)


def test_another_seed_pours_others(box: Box, bar: SimulatedBar) -> None:
    box.write_map(hours=24, seed=8)
    other = SimulatedBar(read(box.folder / "map.toml", box.folder))
    assert pulled(bar.shots({}), 5) != pulled(other.shots({}), 5)


def test_shots_go_on_after_a_mark(bar: SimulatedBar) -> None:
    everything = pulled(bar.shots({}), 12)
    assert pulled(bar.shots({AT: everything[4].mark}), 7) == everything[5:]


def test_what_was_loaded_lasts_through_a_power_cut(box: Box, bar: SimulatedBar) -> None:
    bar.load(ONE, WANTED)
    again = SimulatedBar(read(box.folder / "map.toml", box.folder))
    assert again.read_back(ONE) == WANTED


def test_a_slot_is_poured_as_it_is_set_and_as_the_station_is(bar: SimulatedBar) -> None:
    for number in (1, 2):
        bar.load(Place("M1", 1, number), WANTED)
    for shot in pulled(bar.shots({}), 10):
        assert shot.water_volume is not None
        assert shot.brew_temperature is not None
        assert float(shot.water_volume) == pytest.approx(170 / 2.05, abs=2.0)
        assert float(shot.brew_temperature) == pytest.approx(92.0 - 0.8, abs=0.1)
        assert shot.trace
        assert {len(each) for each in (shot.trace.t, shot.trace.pressure, shot.trace.mass)} == {
            len(shot.trace.t)
        }


def test_people_save_over_slots_pull_short_and_forget_to_weigh(bar: SimulatedBar) -> None:
    bar.bar.habits = Habits(saves_over=0.2, pulls_short=0.2, forgets_to_weigh=0.3)
    before = bar.read_back(ONE)
    shots = pulled(bar.shots({}), 60)
    assert bar.read_back(ONE) != before
    assert any(shot.beverage_mass is None for shot in shots)
    assert len({shot.water_volume for shot in shots}) > 2


def test_nothing_outside_hard_ranges_is_taken(bar: SimulatedBar) -> None:
    before = bar.read_back(ONE)
    with pytest.raises(RefusedError):
        bar.load(ONE, {**WANTED, "brew_temperature": Amount("120", "Cel")})
    assert bar.read_back(ONE) == before


def test_a_slot_that_is_not_there_does_not_answer(bar: SimulatedBar) -> None:
    with pytest.raises(SilentError):
        bar.read_back(Place("M1", 1, 9))


def test_another_model_of_a_shot_is_named_in_the_map(box: Box) -> None:
    text = 'pour = "gateway.drivers.simulated.pour:pour"\n'
    file = box.folder / "map.toml"
    file.write_text(text + file.read_text())
    assert pulled(SimulatedBar(read(file)).shots({}), 1)


@pytest.mark.parametrize("text", ["", "[[station]]", "seed = [", 'pour = "no.such:thing"'])
def test_a_map_that_cannot_be_read_is_said_to_be(tmp_path: Path, text: str) -> None:
    (tmp_path / "map.toml").write_text(text)
    with pytest.raises(MapError, match=r"map\.toml"):
        driver("simulated", tmp_path / "map.toml", tmp_path)


@pytest.mark.parametrize(
    ("ends_by", "more"),
    [
        ("volume", {"water_volume": Amount("150", PULSE)}),
        ("mass", {"beverage_mass": Amount("36.0", "g")}),
        ("time", {"shot_time": Amount("28.0", "s"), "water_volume": Amount("150", PULSE)}),
    ],
)
def test_a_recipe_that_is_dialled_in_pours_what_it_should_until_somebody_saves_over_it(
    box: Box, ends_by: str, more: dict[str, Amount]
) -> None:
    dial = "dial = [{ slot = 1, dose = 18.0, seconds = 28, beverage = 36 }]"
    box.write_map(hours=400, slots="1", more=dial)
    made = SimulatedBar(read(box.folder / "map.toml", box.folder))
    made.load(
        ONE, {"brew_temperature": WANTED["brew_temperature"], "ends_by": Amount(ends_by), **more}
    )
    again = SimulatedBar(read(box.folder / "map.toml", box.folder))  # after a power cut
    for each in (made, again):
        shots = pulled(each.shots({}), 60)
        assert mean(shots, "shot_time") == pytest.approx(28.0, abs=0.5)
        assert mean(shots, "beverage_mass") == pytest.approx(36.0, abs=1.0)
    if ends_by == "volume":
        made.bar.hold(ONE, {**made.read_back(ONE), "water_volume": Amount("180", PULSE)})
        assert mean(pulled(made.shots({}), 60), "beverage_mass") > 40.0


# What happens to a station.


def shots_of(box: Box, more: str, many: int) -> list[Shot]:
    """The first shots of a bar to which something happens."""
    box.write_map(hours=400, slots="1", more=more)
    made = SimulatedBar(read(box.folder / "map.toml"))
    made.load(ONE, WANTED)
    return pulled(made.shots({}), many)


def mean(shots: list[Shot], name: str) -> float:
    values = [float(value) for shot in shots if (value := getattr(shot, name)) is not None]
    return sum(values) / len(values)


# Under full pressure the time goes with the resistance (the rise, a twentieth of it, does not):
# 20 % more of the puck's; a bar per mL/s beside the puck's 3.7.
@pytest.mark.parametrize(
    ("event", "name", "changes"),
    [
        ('what = "meter", by = 0.03', "water_volume", 0.0),  # the meter does not see it itself
        ('what = "meter", by = 0.03', "beverage_mass", -0.05),
        ('what = "grinder", by = 0.2', "shot_time", 0.19),
        ('what = "lot", by = -0.2', "shot_time", -0.19),
        ('what = "scale", by = 1.0', "shot_time", 0.25),
        ('what = "spilt", by = 0.5', "beverage_mass", -0.5),
        ('what = "probe", by = 2.0', "brew_temperature", 0.02),
    ],
)
def test_what_happens_to_a_station_shows_in_its_figures(
    box: Box, event: str, name: str, changes: float
) -> None:
    shots = shots_of(box, f"event = [{{ shot = 101, {event} }}]", 200)
    before, after = mean(shots[:100], name), mean(shots[100:], name)
    assert after / before - 1.0 == pytest.approx(changes, abs=0.025)


def test_a_dead_meter_tells_no_volume_and_somebody_ends_the_shot(box: Box) -> None:
    more = 'event = [{ shot = 3, shots = 2, what = "dead_meter" }]'
    shots = shots_of(box, more, 6)
    assert [shot.water_volume is None for shot in shots] == [False, False, True, True, False, False]
    assert [shot.shot_time > 40 for shot in shots] == [False, False, True, True, False, False]


def test_wear_comes_slowly(box: Box) -> None:
    shots = shots_of(box, "wears = { grinder = 0.5, meter = 0.1 }", 800)
    first, last = shots[:100], shots[-100:]
    assert mean(last, "shot_time") > 1.1 * mean(first, "shot_time")
    assert mean(last, "beverage_mass") < 0.95 * mean(first, "beverage_mass")


def test_fines_and_channels_come_now_and_then(box: Box) -> None:
    usual = mean(shots_of(box, "", 50), "shot_time")
    shots = shots_of(box, "wears = { fines = 0.1, channels = 0.1 }", 200)
    times = [float(shot.shot_time) for shot in shots]
    assert 5 < len([each for each in times if each > 1.2 * usual]) < 40
    assert 5 < len([each for each in times if each < 0.75 * usual]) < 40


def test_orders_come_by_the_hour(box: Box) -> None:
    hours = [0] * 6 + [1, 3, 4, 3] + [1] * 8 + [0] * 6
    box.write_map(hours=24 * 20, slots="1")
    file = box.folder / "map.toml"
    file.write_text(f"hours = {hours}\n" + file.read_text())
    shots = pulled(SimulatedBar(read(file)).shots({}), 2000)
    count = [len([shot for shot in shots if shot.pulled_at.hour == hour]) for hour in range(24)]
    assert all((each > 0) == (share > 0) for each, share in zip(count, hours, strict=True))
    assert count[8] > 2 * count[12]


@pytest.mark.parametrize(
    "more",
    ['event = [{ shot = 1, what = "boiler" }]', "event = [{}]", "wears = { boiler = 1 }", "x ="],
)
def test_what_cannot_happen_is_said_to_be(box: Box, more: str) -> None:
    box.write_map(more=more)
    with pytest.raises(MapError, match=r"map\.toml"):
        read(box.folder / "map.toml")
