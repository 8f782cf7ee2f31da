"""Predictions are poured by a worker; in most of these tests it is done before the page looks."""

import pytest

from recipes.modelling import pouring


@pytest.fixture(autouse=True)
def quick_worker(monkeypatch: pytest.MonkeyPatch) -> None:
    """One that never lets a page wait."""
    monkeypatch.setattr(pouring, "start", pouring.pour)
