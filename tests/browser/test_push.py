"""Pushes in a real browser: what a device shows, where a tap leads, and how a browser adds itself.

Chromium's own push service is not asked: messages are handed to the worker as DevTools do, and a
subscription is put in for the one that a push service would give.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from playwright.sync_api import Page, expect
from pytest_django.fixtures import Settings

from people.devices.models import Device as Told
from people.devices.push_key import public_of, publish
from tests.bar import Bar
from tests.browser.conftest import OpenPage
from tests.browser.offline.device import Device

SHOWN = """async () => {
    const registration = await navigator.serviceWorker.ready;
    const shown = await registration.getNotifications();
    return shown.map(({ title, body, tag, data }) => ({ title, body, tag, url: data.url }));
}"""
# No event that a script makes may open a window: where it would lead is written down instead.
TAPPED = """async (tag) => {
    const led = [];
    self.clients.openWindow = async (url) => { led.push(["opened", url]); };
    WindowClient.prototype.focus = async function () { led.push(["shown", this.url]); };
    const [notification] = await self.registration.getNotifications({ tag });
    const event = new NotificationEvent("notificationclick", { notification });
    const ends = [];
    event.waitUntil = (end) => ends.push(end);
    self.dispatchEvent(event);
    await Promise.all(ends);
    return led;
}"""
# In place of what a push service would give; another one each time, as browsers do.
SUBSCRIBES = """PushManager.prototype.subscribe = async (asked) => {
    if (asked.applicationServerKey.length !== 65 || !asked.userVisibleOnly) throw new TypeError();
    const endpoint = `https://push.example.com/${crypto.randomUUID()}`;
    return { toJSON: () => ({ endpoint, keys: %s }) };
};"""
# Chromium refuses so, or says nothing for good (seen in one of its own profiles), where it reaches
# no push service; in the profiles of tests it says more, aloud.
UNREACHED = """PushManager.prototype.subscribe = async () => {
    throw new DOMException("Registration failed - push service not available", "AbortError");
};"""
SILENT = """PushManager.prototype.subscribe = () => {
    document.documentElement.dataset.asked = "";
    return new Promise(() => {});
};"""
TELL = "Tell this device"
Deliver = Callable[[str], list[dict[str, Any]]]


def delivering(page: Page) -> Deliver:
    """Hands a message to the page's worker; what stands there as notices afterwards."""
    page.context.grant_permissions(["notifications"])
    device, known = Device(page.context, page), []
    device.ready()
    tools = page.context.new_cdp_session(page)
    tools.on("ServiceWorker.workerRegistrationUpdated", lambda told: known.extend(
        told["registrations"]))  # fmt: skip
    tools.send("ServiceWorker.enable")
    device.until(lambda: known)

    def deliver(data: str) -> list[dict[str, Any]]:
        before = page.evaluate(SHOWN)
        given = {"origin": device.origin, "registrationId": known[0]["registrationId"]}
        tools.send("ServiceWorker.deliverPushMessage", {**given, "data": data})
        device.until(lambda: page.evaluate(SHOWN) != before)
        found: list[dict[str, Any]] = page.evaluate(SHOWN)
        return found

    return deliver


def tapped(page: Page, tag: str) -> list[list[str]]:
    led: list[list[str]] = page.context.service_workers[0].evaluate(TAPPED, tag)
    return led


def test_a_push_is_shown_and_a_tap_leads_to_what_it_is_about(open_page: OpenPage, bar: Bar) -> None:
    page = open_page(bar.cast.shop_lead, "/notices/", worker=True)
    deliver, origin = delivering(page), Device(page.context, page).origin
    told = {"title": "Slot 1 differs", "words": "Look <b>now</b>", "url": "/board/"}
    assert deliver(json.dumps(told)) == [
        {"title": "Slot 1 differs", "body": "Look <b>now</b>", "tag": "/board/", "url": "/board/"}
    ]
    assert tapped(page, "/board/") == [["opened", f"{origin}/board/"]]
    assert page.evaluate(SHOWN) == []
    page.goto("/board/")
    deliver(json.dumps(told))
    assert tapped(page, "/board/") == [["shown", f"{origin}/board/"]]


@pytest.mark.parametrize("evil", ["https://evil.example/", "//evil.example/", "javascript:x()"])
def test_a_tap_leads_nowhere_else(open_page: OpenPage, bar: Bar, evil: str) -> None:
    page = open_page(bar.cast.shop_lead, "/board/", worker=True)
    delivering(page)(json.dumps({"title": "Look", "url": evil}))
    origin = Device(page.context, page).origin
    assert tapped(page, evil) == [["opened", f"{origin}/"]]


@pytest.mark.parametrize("data", ["", "null", "no JSON", '{"title": 7}', '"text"'])
def test_what_cant_be_read_is_shown_all_the_same(open_page: OpenPage, bar: Bar, data: str) -> None:
    (shown,) = delivering(open_page(bar.cast.shop_lead, "/notices/", worker=True))(data)
    assert shown["url"] == "/notices/"
    assert shown["title"]


# How a browser adds itself.


@pytest.fixture
def push_key(settings: Settings, tmp_path: Path) -> None:
    """Our key, as a worker makes it."""
    settings.PUSH_KEY_FILE = str(tmp_path / "push_key")
    publish()


@pytest.mark.usefixtures("push_key")
def test_a_browser_adds_itself_and_stays_one_device(open_page: OpenPage, bar: Bar) -> None:
    page = open_page(bar.cast.shop_lead, "/notices/", worker=True)
    page.context.grant_permissions(["notifications"])
    keys = {"p256dh": public_of(ec.generate_private_key(ec.SECP256R1())), "auth": "A" * 22}
    page.context.add_init_script(SUBSCRIBES % json.dumps(keys))
    for _ in range(2):
        page.goto("/notices/")
        page.get_by_role("button", name=TELL).click()
        expect(page.get_by_text("This device is told from now on.")).to_be_visible()
    told = Told.objects.get()
    assert (told.person, told.p256dh) == (bar.cast.shop_lead, keys["p256dh"])
    page.get_by_role("button", name="Take away").click()
    expect(page.get_by_text("No device of yours is told.")).to_be_visible()


@pytest.mark.usefixtures("push_key")
def test_a_browser_that_cant_says_why(open_page: OpenPage, bar: Bar) -> None:
    page = open_page(bar.cast.shop_lead, "/notices/", worker=True)
    page.get_by_role("button", name=TELL).click()
    expect(page.get_by_text("allow them in its settings")).to_be_visible()
    page.context.grant_permissions(["notifications"])
    page.clock.install()
    for service in (UNREACHED, SILENT):
        page.add_init_script(service)
        page.reload()
        page.get_by_role("button", name=TELL).click()
        if service == SILENT:
            expect(page.get_by_text("Asking this browser…")).to_be_visible()
            expect(page.locator("html[data-asked]")).to_have_count(1)  # its patience has begun
            page.clock.fast_forward("01:00")
        expect(page.get_by_text("its push service does not answer")).to_be_visible()
    assert not Told.objects.exists()


@pytest.mark.usefixtures("push_key")
def test_without_scripts_or_workers_it_is_not_offered(open_page: OpenPage, bar: Bar) -> None:
    page = open_page(bar.cast.shop_lead, "/notices/", script=False)
    expect(page.get_by_role("button", name=TELL)).to_be_hidden()
    expect(page.get_by_text("A browser with scripts switched on")).to_be_visible()
