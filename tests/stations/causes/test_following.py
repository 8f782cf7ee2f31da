"""One cause at one station: steps and slow drifts on the reference gateway's simulated bar."""

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from gateway.drivers.simulated.pour import Condition, counted, pour
from stations.causes.following import Following
from stations.causes.traces import Poured
from stations.metrology.causes import Cause

NEW = Condition()
SET: dict[str, float] = {
    "water_volume": 160.0, "brew_temperature": 93.5, "brew_pressure": 9.0,
    "preinfusion_time": 4.0, "preinfusion_pressure": 2.0,
}  # fmt: skip
NAMES = ("t", "pressure", "flow", "mass", "temperature")


def shots(many: int, condition: Callable[[int], Condition]) -> list[Poured]:
    """As a gateway rounds and tells them; lots of ten days, 200 shots each, one fixed seed."""
    chance, begin, made = random.Random(20261129), datetime(2026, 1, 1, tzinfo=UTC), []
    for at in range(many):
        now = condition(at)
        told = pour(SET, "volume", now, chance)
        water = counted(told, now, NEW)
        columns = zip(*told.points, strict=True)
        trace = {
            name: [round(each, 2) for each in column]
            for name, column in zip(NAMES, columns, strict=True)
        }
        made.append(Poured(
            1, at, begin + timedelta(minutes=at), round(told.dose, 1), round(told.beverage, 1),
            None if water is None else round(water, 1), round(told.temperature, 1), trace, 93.5,
            "content", 1, "4", at // 20 % 10 + 7,
        ))  # fmt: skip
    return made


def first(cause: Cause, poured: list[Poured]) -> tuple[int, float] | None:
    """After how many shots it is found, and the size it has then."""
    following = Following()
    for at, each in enumerate(poured):
        following.take(cause, each, open_since=None, lasts=False)
        if signal := following.signal(cause):
            return at, signal.size
        following = Following.of(following.kept())
    return None


@pytest.mark.parametrize("cause", Cause)
def test_nothing_is_found_where_nothing_changes(cause: Cause) -> None:
    assert first(cause, shots(800, lambda _: NEW)) is None


SLOW: list[tuple[Cause, dict[str, Any], float]] = [
    (Cause.METER, {"pulses_per_ml": 2.06}, 0.03), (Cause.PROBE, {"probe_offset": 1.0}, 0.5),
]  # fmt: skip


@pytest.mark.parametrize(("cause", "end", "least"), SLOW)
def test_a_slow_drift_is_found_once_it_matters(
    cause: Cause, end: dict[str, Any], least: float
) -> None:
    # In a straight line over 400 shots: the reference learns it, the anchor does not.
    ((name, last),) = end.items()
    begin = getattr(NEW, name)

    def at(shot: int) -> Condition:
        share = max(0.0, (shot - 100) / 400)
        return replace(NEW, **{name: begin + share * (last - begin)})

    found = first(cause, shots(500, at))
    assert found
    assert 150 < found[0] < 360
    assert found[1] == pytest.approx(least, rel=0.3)
