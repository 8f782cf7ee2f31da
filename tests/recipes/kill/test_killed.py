"""A publication over 2,000 slots, with its worker killed or cut off at random moments.

Invariant 8: afterwards it is complete, each slot placed exactly once, and the history whole.
"""

import random
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from kombu import Connection

from recipes.models import Publication
from recipes.publishing import run
from stations.models import Placement
from tests.bar import Bar
from tests.recipes.kill import worker
from tests.recipes.kill.chain import SLOTS, Chain, analyse, build, check_whole
from tests.services import rounds

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("quiet")]
ROUNDS = rounds(25, 2)
PATIENCE = 90.0  # seconds


@pytest.fixture
def chain(bar: Bar) -> Chain:
    made = build(bar)
    analyse()
    return made


@pytest.fixture
def link() -> Iterator[Connection]:
    with worker.broker() as made:
        yield made


def placed(publication: Publication) -> int:
    rows = Placement.objects.filter(basis="publication", basis_id=publication.pk)
    return rows.filter(state="in_force").count()


def sweep_until_complete(publication: Publication, link: Connection) -> None:
    """What beat does every few seconds."""
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        worker.send(link, "sweep")
        pause = time.monotonic() + 2
        while time.monotonic() < pause:
            publication.refresh_from_db()
            if publication.state == Publication.State.COMPLETE:
                return
            time.sleep(0.05)
    pytest.fail(f"{placed(publication)} of {SLOTS} placed after {PATIENCE:.0f} s")


def wait_for_a_batch(publication: Publication) -> None:
    until = time.monotonic() + PATIENCE
    while not placed(publication):
        assert time.monotonic() < until


def whole_run(chain: Chain, link: Connection) -> float:
    """Seconds a worker is busy with one publication, undisturbed."""
    publication = chain.sign()
    worker.send(link, "run_publication", publication.pk)
    worker.wait_until_busy()
    since = time.monotonic()
    while publication.state != Publication.State.COMPLETE:
        assert time.monotonic() < since + PATIENCE
        time.sleep(0.01)
        publication.refresh_from_db()
    check_whole(chain, publication)
    return time.monotonic() - since


def test_the_worker_is_killed(chain: Chain, link: Connection, tmp_path: Path) -> None:
    chance, left = random.Random(8), []
    alive = worker.start(tmp_path / "first.log")
    try:
        seconds = whole_run(chain, link)
        for number in range(ROUNDS):
            publication = chain.sign()
            worker.send(link, "run_publication", publication.pk)
            worker.wait_until_busy()
            if number == 0:  # for certain between two batches, or within the second
                wait_for_a_batch(publication)
            else:
                time.sleep(chance.uniform(0, seconds))
            alive.kill()
            left.append(SLOTS - placed(publication))
            alive = worker.start(tmp_path / f"{number}.log")
            sweep_until_complete(publication, link)
            check_whole(chain, publication)
    finally:
        alive.kill()
    print(f"left to place when killed: {left}")
    assert any(left) or ROUNDS < 10, "no kill came before the work was done"


def test_the_worker_is_cut_off_from_the_database(
    chain: Chain, link: Connection, tmp_path: Path
) -> None:
    """The sessions are ended mid-batch; the worker lives on and takes up the rest."""
    chance, cuts = random.Random(9), 0
    alive = worker.start(tmp_path / "worker.log")
    try:
        seconds = whole_run(chain, link)
        for _ in range(ROUNDS):
            publication = chain.sign()
            worker.send(link, "run_publication", publication.pk)
            worker.wait_until_busy()
            for _ in range(3):
                time.sleep(chance.uniform(0, seconds / 2))
                cuts += worker.cut()
            sweep_until_complete(publication, link)
            check_whole(chain, publication)
        assert alive.alive
    finally:
        alive.kill()
    assert cuts


def test_nobody_was_told(chain: Chain) -> None:
    """The web process dies between commit and hand-over: the sweep finds what is signed."""
    publication = chain.sign()
    assert run.unfinished() == [publication.pk]
    assert run.run(publication.pk) == SLOTS
    check_whole(chain, publication)
    assert run.unfinished() == []
