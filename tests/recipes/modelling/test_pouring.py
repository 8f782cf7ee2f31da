"""The model run by a worker: what the page says meanwhile, and that nothing depends on one."""

from random import random

import numpy as np
import pytest

from recipes.brewing.errors import QuantityError
from recipes.brewing.shot_model.fit import Fit
from recipes.modelling import pouring
from recipes.publishing import run as publishing
from recipes.tasks import pour as pour_task
from stations.equipment.models import Slot
from tests.bar import Bar
from tests.cast import SignedIn
from tests.publishing import Publish, send
from tests.recipes.brewing.shots import DOUBLE, double
from tests.recipes.modelling.fitted import fitted
from tests.stations.charts.test_drift import pull

__all__ = ["send"]  # a fixture


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What was handed to the workers, who are away."""
    told: list[str] = []
    monkeypatch.setattr(pouring, "start", told.append)
    return told


def new() -> Fit:
    """A fit that nobody has predicted by."""
    return Fit(("grind",), np.array([11.0 + random()]), np.array([[0.01]]), 9, 1.0)


def test_a_worker_pours_what_a_page_asked_for_once(asked: list[str]) -> None:
    fit, other = new(), double(temperature=92)
    assert pouring.poured_by_worker(fit, DOUBLE, other, 1.0) is None
    assert pouring.poured_by_worker(fit, DOUBLE, other, 1.0) is None
    assert len(asked) == 1
    assert pour_task(asked[0])
    assert pour_task(asked[0])  # a task may run twice
    found = pouring.poured_by_worker(fit, DOUBLE, other, 1.0)
    assert found is not None
    again = pouring.poured(fit, DOUBLE, other, 1.0)
    assert again.compared == found.compared


def test_where_no_worker_comes_the_page_pours_itself(
    asked: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    fit = new()
    assert pouring.poured_by_worker(fit, DOUBLE, DOUBLE, 1.0) is None
    monkeypatch.setattr(pouring, "PATIENCE", -1.0)
    assert pouring.poured_by_worker(fit, DOUBLE, DOUBLE, 1.0) is not None


def test_without_the_broker_it_is_poured_at_once(
    asked: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("web.quick_cache.QuickCache._asked_again_at", float("inf"))
    assert pouring.poured_by_worker(new(), DOUBLE, DOUBLE, 1.0) is not None
    assert asked == []


def test_a_shot_that_never_ends_is_said_by_whoever_asks_next(asked: list[str]) -> None:
    fit, stuck = new(), double(grind=2.0)
    assert pouring.poured_by_worker(fit, DOUBLE, stuck, 0.06) is None
    assert not pour_task(asked[0])
    with pytest.raises(QuantityError):
        pouring.poured_by_worker(fit, DOUBLE, stuck, 0.06)


def test_what_nobody_asked_for_is_nothing() -> None:
    assert not pour_task("f" * 64)


def test_the_page_says_what_cannot_be_known_while_the_model_runs(
    bar: Bar, send: Publish, signed_in: SignedIn, asked: list[str]
) -> None:
    publishing.run(send().pk)
    slot = Slot.objects.with_equipment().get(pk=bar.slots[0].pk)
    shots = pull(slot, bar.cast.head_roaster, "36.0")
    fitted(slot.station, bar.version, shots, bar.cast.head_roaster)
    browser, path = signed_in(bar.cast.head_roaster), f"/versions/{bar.version.pk}/model/"
    change = f"{path}?brew_temperature={80 + random() * 15:.1f}&coarser=1.{int(random() * 90) + 10}"
    words = browser.get(change).content.decode()
    assert "What another temperature does to the taste" in words
    assert "Running the model" in words
    assert 'hx-trigger="every 1s"' in words
    assert "By the fit, means with" not in words
    pour_task(asked[0])
    words = browser.get(change).content.decode()
    assert "Running the model" not in words
    assert "By the fit, means with" in words
