"""Fits asked for and run by several at once, and by a worker that is killed."""

from collections.abc import Callable
from contextlib import suppress
from functools import partial
from threading import Event, Thread

import pytest
from django.db import OperationalError, connections, transaction

from audit.capture.models import Entry
from recipes.modelling import actions as fits
from recipes.modelling.actions import ask_for_fit
from recipes.modelling.models import ShotFit
from recipes.modelling.simulator import TrueStation
from recipes.publishing import run as publishing
from stations.equipment.models import Slot
from stations.shots.actions import log_shot
from tests.bar import Bar
from tests.publishing import Publish, quiet, send
from tests.races import at_once
from tests.services import rounds

__all__ = ["quiet", "send"]  # fixtures

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("quiet", "no_worker"),
]


@pytest.fixture
def no_worker(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fits are run by the tests themselves."""
    monkeypatch.setattr("recipes.modelling.actions.start", lambda fit_id: None)


@pytest.fixture
def slot(bar: Bar, send: Publish) -> Slot:
    """A slot with shots enough for a fit."""
    publishing.run(send().pk)
    found: Slot = Slot.objects.with_equipment().get(pk=bar.slots[0].pk)
    station = TrueStation(grind=12.3, absorbs=0.95, slow_rate=0.065)
    for shot in station.pull(bar.version.stated, 6, seed=1):
        log_shot(slot=found, shot=shot, by=bar.cast.barista)
    return found


def asking(bar: Bar, slot: Slot) -> Callable[[], ShotFit]:
    return partial(ask_for_fit, station=slot.station, version=bar.version, by=bar.cast.shop_lead)


def test_asked_for_by_several_at_once_it_is_one(bar: Bar, slot: Slot) -> None:
    for turn in range(rounds(40, 5)):
        found = at_once([asking(bar, slot)] * 3)
        assert {getattr(each, "pk", each) for each in found} == {ShotFit.objects.latest("id").pk}
        assert ShotFit.objects.count() == turn + 1
        waiting = ShotFit.objects.waiting().filter(pk=ShotFit.objects.latest("id").pk)
        waiting.update(state="impossible", why_not="Next round", finished_at="2026-01-01T00:00Z")


def test_run_by_two_workers_at_once_it_is_done_once(bar: Bar, slot: Slot) -> None:
    asked = asking(bar, slot)()
    outcomes = at_once([partial(fits.run_fit, asked.pk)] * 3)
    assert sorted(map(str, outcomes)) == ["False", "False", "True"]
    asked.refresh_from_db()
    assert asked.state == "done"
    assert Entry.objects.filter(action="fit.run").values("txid").distinct().count() == 1


def test_a_worker_that_is_killed_leaves_it_to_the_next(bar: Bar, slot: Slot) -> None:
    """Its connection ends with it, and with that its lock; nothing was written."""
    asked, held, killed = asking(bar, slot)(), Event(), Event()

    def worker() -> None:
        with suppress(OperationalError), transaction.atomic():
            assert fits._mine(asked.pk)
            held.set()
            killed.wait(30)
            connections["default"].connection.close()
        connections.close_all()

    thread = Thread(target=worker)
    thread.start()
    held.wait(30)
    assert not fits.run_fit(asked.pk)
    killed.set()
    thread.join()
    assert fits.run_fit(asked.pk)
