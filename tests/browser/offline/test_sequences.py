"""Taps, drops, reloads and sign-outs at random: what the server holds is what was meant, once."""

import os

import pytest
from playwright.sync_api import Browser
from pytest_django.live_server_helper import LiveServer

from tests.browser.offline.device import Device
from tests.browser.offline.faults import failing
from tests.browser.offline.sequences import CUP, Days
from tests.cast import Cast
from tests.recipes.shelf import make_approved, make_recipe
from tests.services import rounds
from tests.stations.conftest import Bar, bar, place

__all__ = ["bar"]

pytestmark = pytest.mark.django_db(transaction=True)


def _seeds() -> range:
    """`SEED=n` runs one sequence again, `START=n SEQUENCES=m` those from n to before m."""
    if only := os.environ.get("SEED"):
        return range(int(only), int(only) + 1)
    end = os.environ.get("SEQUENCES", rounds(500, 12))
    return range(int(os.environ.get("START", "0")), int(end))


def test_what_was_meant_is_there_once(
    bar: Bar,
    cast: Cast,
    browser: Browser,
    live_server: LiveServer,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    place(bar.slot, cast.head_roaster, cup=CUP)
    version = make_approved(cast, make_recipe(cast)).pk
    context = browser.new_context(base_url=live_server.url, viewport={"width": 390, "height": 900})
    context.set_default_timeout(20_000)
    device = Device(context, context.new_page())
    days = Days(device, cast, bar, version, live_server.url, failing(monkeypatch))
    try:
        for seed in _seeds():
            days.run(seed)
    finally:
        context.close()
        print(f"{days.made} intentions: {dict(days.ends)}")
    assert days.ends["once"] > 0
