"""The demo's simulated bar: like the site it stands for, and dialled in to what it should pour."""

from datetime import timedelta
from itertools import islice
from pathlib import Path

import pytest

from gateway.driver import Place
from gateway.drivers.simulated.bar import Habits, read
from gateway.drivers.simulated.driver import SimulatedBar
from gateway.ranges import Amount
from recipes.demo.floor import map_of
from tests.cast import Cast
from tests.stations.conftest import VALUES, Bar, bar, place

__all__ = ["bar"]
pytestmark = pytest.mark.django_db
CUP = {
    "dose_mass": {"target": "18.0", "below": "0.2", "above": "0.2"},
    "shot_time": {"target": "27", "below": "3", "above": "3"},
    "beverage_mass": {"target": "36.0", "below": "2", "above": "2"},
}


@pytest.fixture
def floor(bar: Bar, cast: Cast, tmp_path: Path) -> SimulatedBar:
    place(bar.slot, cast.head_roaster, cup=CUP)
    (tmp_path / "map.toml").write_text(map_of(cast.site))
    made = read(tmp_path / "map.toml")
    made.opened, made.speed = made.opened - timedelta(days=7), 1e9
    made.habits = Habits()  # nobody saves over it meanwhile
    return SimulatedBar(made)


def test_it_has_the_stations_and_slots_of_its_site(floor: SimulatedBar, bar: Bar) -> None:
    told = {str(each.at): list(each.slots) for each in floor.describe().stations}
    assert told == {"Left machine/1": [1, 2], "Left machine/2": [1, 2]}


def test_what_is_loaded_pours_within_its_tolerance(floor: SimulatedBar) -> None:
    loaded = {code: Amount(each["value"], each["unit"]) for code, each in VALUES.items()}
    slot = Place("Left machine", 1, 1)
    floor.load(slot, loaded)
    shots = [shot for shot in islice(floor.shots({}), 400) if shot and shot.place == slot]
    weighed = [shot for shot in shots if shot.beverage_mass]
    within = [
        shot
        for shot in weighed
        if abs(float(shot.shot_time) - 27) <= 3 and abs(float(shot.beverage_mass or 0) - 36) <= 2
    ]
    assert len(within) > 0.85 * len(weighed) > 10
