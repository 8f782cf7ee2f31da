"""What tests of the gateway share: a store, a server that keeps to the interface, a driver."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from gateway import keys
from gateway.client import Server
from gateway.clock import Clock
from gateway.driver import Description, Equipped, Place, Shot, Station
from gateway.floor import Floor
from gateway.line import Line
from gateway.outbox import Outbox
from gateway.pace import Pace
from gateway.ranges import RANGES, Amount, Settings
from gateway.store import Store
from tests.gateway.fake_server import SOURCE, Ledger, serving


@pytest.fixture
def ledger() -> Ledger:
    return Ledger()


@pytest.fixture
def address(ledger: Ledger) -> Iterator[str]:
    with serving(ledger) as url:
        yield url


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store(tmp_path / "gateway.db")
    yield opened
    opened.close()


@pytest.fixture
def outbox(store: Store) -> Outbox:
    return Outbox(store)


@pytest.fixture
def server(address: str, ledger: Ledger, tmp_path: Path) -> Iterator[Server]:
    key = keys.make(tmp_path / "key.pem")
    ledger.keys[keys.thumbprint(key.public_key())] = key.public_key()
    made = Server(address, key, Clock())
    yield made
    made.close()


@pytest.fixture
def line(store: Store, server: Server, address: str) -> Line:
    enrolled = {"source": SOURCE, "server": address}
    return Line(store=store, server=server, enrolled=enrolled, driver="test 1", pace=Pace())


AT = Station("M1", 1)


@dataclass
class Machine:
    """A driver whose machine does what a test says."""

    memory: dict[int, dict[str, Amount]] = field(default_factory=lambda: {1: {}, 2: {}})
    pulled: list[Shot] = field(default_factory=list)
    loads: list[tuple[Place, Settings]] = field(default_factory=list)
    reads: int = 0
    answers: bool = True
    failing: Exception | None = None
    refusing: Exception | None = None  # to load

    def describe(self) -> Description:
        slots = tuple(self.memory)
        at = Equipped(AT, slots, RANGES, ("volume", "time"), answers=self.answers)
        return Description("test", "1", [at])

    def load(self, place: Place, settings: Settings) -> None:
        if refusal := self.refusing or self.failing:
            raise refusal
        self.loads.append((place, settings))
        self.memory[place.number] = dict(settings)

    def read_back(self, place: Place) -> Settings:
        self.reads += 1
        if self.failing:
            raise self.failing
        return self.memory[place.number]

    def shots(self, after: Mapping[Station, str]) -> Iterator[Shot | None]:
        last = after.get(AT)
        marks = [shot.mark for shot in self.pulled]
        yield from self.pulled[marks.index(last) + 1 if last in marks else 0 :]
        yield None


@pytest.fixture
def machine() -> Machine:
    return Machine()


@pytest.fixture
def floor(store: Store, machine: Machine) -> Floor:
    return Floor(store=store, driver=machine, clock=Clock(), pace=Pace(read_back=0.0))
