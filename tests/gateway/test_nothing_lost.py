"""Nothing is lost and nothing doubled: over a bad line, and when the power goes at any moment."""

import random
import time
from functools import partial
from itertools import count
from pathlib import Path

import pytest

from gateway.driver import Station
from gateway.drivers.simulated.bar import read
from gateway.line import Line
from gateway.outbox import rfc3339
from gateway.pace import Pace
from gateway.store import Store
from tests.gateway.bad_line import HAPPENINGS, BadLine, bad_line
from tests.gateway.boxes import Box, until
from tests.gateway.fake_server import SOURCE, Ledger, slot
from tests.services import rounds


def expected(box: Box, many: int, machine: str = "M1") -> list[str]:
    """The moments of the bar's first shots, by its seed."""
    at = Station(machine, 1)
    bar = read(box.folder / "map.toml", box.state)
    moment, found = bar.opened, []
    for number in range(1, many + 1):
        moment = bar.moment(at, number, moment)
        found.append(rfc3339(moment))
    return found


def more_than(ledger: Ledger, known: int) -> bool:
    return len(ledger.events) > known


def pulled(ledger: Ledger) -> list[str]:
    return [str(each["pulled_at"]) for each in ledger.of("shot")]


def test_killed_at_any_moment_nothing_is_lost_and_nothing_doubled(
    tmp_path: Path, address: str, ledger: Ledger
) -> None:
    ledger.slots = [slot(1), slot(2)]
    box = Box(tmp_path, address)
    # Enough of a backlog that there is something to interrupt at every kill.
    box.write_map(hours=rounds(900, 40), speed=7200)
    assert box.enrol().returncode == 0
    chance = random.Random(3)
    for _ in range(rounds(200, 6)):
        with box.running() as process:
            known = len(ledger.events)
            until(partial(more_than, ledger, known))
            time.sleep(chance.uniform(0.0, 0.3))
            assert process.poll() is None
    many = len(pulled(ledger)) + 20
    with box.running():
        until(lambda: len(pulled(ledger)) >= many)
    found = pulled(ledger)
    assert found == expected(box, len(found))
    assert [ledger.doubled, ledger.missing()] == [[], []]
    assert len(ledger.of("loaded")) == 2


def test_over_a_bad_line_nothing_is_lost_and_nothing_doubled(
    tmp_path: Path, address: str, ledger: Ledger
) -> None:
    ledger.slots = [slot(1), slot(2)]
    line = BadLine(address, share=0.6)
    with bad_line(line) as near:
        box = Box(tmp_path, near)
        box.write_map(hours=rounds(220, 14), speed=3600)
        for _ in range(20):
            ledger.codes.add("the-code")
            if box.enrol().returncode == 0:
                break
        many = rounds(10_000, 600)
        with box.running():
            until(lambda: len(pulled(ledger)) >= many, seconds=rounds(1200, 120))
            until(lambda: set(HAPPENINGS) <= set(line.done), seconds=120)
    found = pulled(ledger)
    assert found == expected(box, len(found))
    assert [ledger.doubled, ledger.missing()] == [[], []]
    assert ledger.repeated


def test_events_are_numbered_by_one_hand_over_kills_inside_a_commit(
    tmp_path: Path, server_line: Line, ledger: Ledger
) -> None:
    """The same at the store itself: a transaction that was begun and not committed is nothing."""
    for number in count(1):
        if number > 30:
            break
        half = Store(tmp_path / "gateway.db")
        half.connection.execute("BEGIN IMMEDIATE")
        half.keep("sequence", str(number * 100))
        half.close()  # as the kernel does it for a process that is gone
        server_line.outbox.put("shot.v1", {"number": number}, server_line.clock.now())
    server_line.send()
    assert sorted(ledger.events) == list(range(1, 31))


@pytest.fixture
def server_line(line: Line, store: Store, address: str) -> Line:
    enrolled = {"source": SOURCE, "server": address}
    return Line(store=store, server=line.server, enrolled=enrolled, driver="x", pace=Pace())
