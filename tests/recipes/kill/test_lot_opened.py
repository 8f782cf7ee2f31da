"""A lot is opened, and whoever had to place what waited for it is killed.

Invariant 8 for publications with a lot: the next sweep finds what the opening made due.
"""

import random
import time
from pathlib import Path

import pytest
from kombu import Connection

from recipes.publishing import run
from tests.recipes.kill import worker
from tests.recipes.kill.chain import SLOTS, Chain, check_whole
from tests.recipes.kill.running import placed, sweep_until_complete, whole_run
from tests.recipes.publishing.lots import lot_of, opening, station_at
from tests.services import rounds

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("quiet")]
ROUNDS = rounds(20, 2)


@pytest.fixture(autouse=True)
def _untold(monkeypatch: pytest.MonkeyPatch) -> None:
    """The web process dies between the opening's commit and its word to the workers."""
    monkeypatch.setattr("recipes.publishing.opening.start", lambda publication_id: None)


def test_the_worker_is_killed_after_the_opening(
    chain: Chain, link: Connection, tmp_path: Path
) -> None:
    chance, cast = random.Random(18), chain.bar.cast
    alive = worker.start(tmp_path / "first.log")
    try:
        seconds = whole_run(chain, link)
        for number in range(ROUNDS):
            lot = lot_of(chain.bar.version, cast.head_roaster, f"L{number}")
            publication = chain.sign(lot)
            assert (run.unfinished(), run.run(publication.pk)) == ([], 0)
            opening(lot, station_at(cast.site), cast.barista)
            assert run.unfinished() == [publication.pk]
            worker.send(link, "sweep")
            worker.wait_until_busy()
            time.sleep(chance.uniform(0, seconds / 2))
            alive.kill()
            assert placed(publication) <= SLOTS // 2, "the other bar has not opened it"
            opening(lot, station_at(cast.other_site), cast.other_lead)
            alive = worker.start(tmp_path / f"{number}.log")
            sweep_until_complete(publication, link)
            check_whole(chain, publication)
    finally:
        alive.kill()
