"""Whatever the gateway sends fits the schemas that the server publishes."""

from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from itertools import islice
from pathlib import Path

import pytest

from gateway.driver import RefusedError, SilentError, Trace
from gateway.drivers.simulated.bar import Habits, read
from gateway.drivers.simulated.driver import SimulatedBar
from gateway.floor import Floor
from gateway.line import Line
from gateway.outbox import Outbox, cloud_event
from stations.gateways.schemas import ENVELOPE, TYPES, faults
from tests.gateway.boxes import Box
from tests.gateway.conftest import Machine
from tests.gateway.fake_server import SOURCE, slot
from tests.gateway.test_floor import shot, want


@pytest.fixture
def bar(tmp_path: Path) -> SimulatedBar:
    box = Box(tmp_path, "")
    box.write_map(hours=24)
    made = SimulatedBar(read(tmp_path / "map.toml"))
    made.bar.habits = Habits(saves_over=0.1, pulls_short=0.3, forgets_to_weigh=0.3)
    return made


def problems(outbox: Outbox) -> Iterator[object]:
    """What the server would say to everything that waits."""
    for event in outbox.batch():
        told = cloud_event(event, source=SOURCE, schemas="http://127.0.0.1/", shift=timedelta(1))
        yield from faults(ENVELOPE, told, "event")
        yield from faults(str(told["type"]), told["data"])


def test_every_type_of_event_fits_its_schema(
    floor: Floor, machine: Machine, line: Line, outbox: Outbox, bar: SimulatedBar
) -> None:
    want(floor, slot(1), slot(2, digest="0" * 64, problem="x" * 900))
    floor.round()
    for pulled in islice((each for each in bar.shots({}) if each), 80):
        floor.took(pulled)
    machine.answers, machine.failing = False, SilentError("gone")
    floor.round()
    machine.refusing = RefusedError("y" * 900)
    floor.faults.begin(None, "driver", "a fault of no station")
    line.beat()
    outbox.set_aside(outbox.batch()[0], "z" * 900, line.clock.now())
    assert {each.type for each in outbox.batch()} >= set(TYPES) - {"portaledger.loaded.v1"}
    assert list(problems(outbox)) == []


def test_a_loaded_slot_fits_too(floor: Floor, outbox: Outbox) -> None:
    want(floor, slot(1))
    floor.round()
    assert "portaledger.loaded.v1" in {each.type for each in outbox.batch()}
    assert list(problems(outbox)) == []


def test_figures_of_any_writing_and_traces_of_any_length_fit(floor: Floor, outbox: Outbox) -> None:
    want(floor, slot(1))
    long = tuple(each / 100 for each in range(4001))
    floor.took(
        shot(
            "1",
            dose_mass=Decimal("20").normalize(),
            beverage_mass=Decimal("36.123456789"),
            trace=Trace(t=long, pressure=(9.0,) * 4001),
        )
    )
    assert list(problems(outbox)) == []
    (event,) = outbox.batch()
    assert (event.data["dose_mass"], event.data["beverage_mass"]) == ("20", "36.123457")
    assert event.data["trace"]["t"][:2] == [0.0, 0.03]
