"""Watching a publication run in a real worker."""

import time

import pytest
from kombu import Connection

from recipes.publishing.models import Publication
from stations.slots.models import Placement
from tests.recipes.kill import worker
from tests.recipes.kill.chain import SLOTS, Chain, check_whole

PATIENCE = 90.0  # seconds


def placed(publication: Publication) -> int:
    """How many slots hold it now."""
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
    """Return as soon as the first slots hold it."""
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
