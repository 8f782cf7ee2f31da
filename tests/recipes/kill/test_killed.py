"""A publication over 2,000 slots, with its worker killed or cut off at random moments.

Invariant 8: afterwards it is complete, each slot placed exactly once, and the history whole.
"""

import random
import time
from pathlib import Path

import pytest
from kombu import Connection

from recipes.publishing import run
from tests.recipes.kill import worker
from tests.recipes.kill.chain import SLOTS, Chain, check_whole
from tests.recipes.kill.running import placed, sweep_until_complete, wait_for_a_batch, whole_run
from tests.services import rounds

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("quiet")]
ROUNDS = rounds(25, 2)


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
