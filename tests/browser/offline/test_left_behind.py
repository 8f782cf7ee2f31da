"""What stays on a device, and what does not: nobody finds what they may not see any more."""

from collections import Counter

import pytest
from django.contrib.sessions.models import Session
from django.http import HttpRequest, HttpResponse
from playwright.sync_api import expect

from people.persons.models import Assignment
from stations.shots.models import CheckShot
from tests.browser.conftest import sign_in
from tests.browser.offline.conftest import log
from tests.browser.offline.device import Device
from tests.cast import Cast
from web.middleware import RequestContextMiddleware

pytestmark = pytest.mark.django_db(transaction=True)

NO_STORE = "() => { queue.add = () => Promise.reject(new Error('nothing may be stored')); }"
NO_ANSWER = "() => { queue.all = () => Promise.reject(new Error('the store is gone')); }"
SOMEBODY_ELSE = """() => queue.note("person", "0")"""  # as the worker knew it a moment ago
LATE = """() => queue.add({
    same: "late", person: "0", address: "/slots/1/shots/new/", pairs: [], state: "waiting",
    again: 0, tries: 0, failures: 0, next: 0 })"""
SILENT = "navigator.serviceWorker.register = () => new Promise(() => {});"
THRICE = """() => Promise.all([1, 2, 3].map(() => queue.add(
    { same: "alike", pairs: [], state: "sent", again: 0 })))"""


def _in_worker(device: Device, script: str) -> object:
    return device.context.service_workers[0].evaluate(script)


def test_a_session_that_was_ended_elsewhere_leaves_no_page(device: Device, bar_page: str) -> None:
    device.drop()
    log(device, "38.5")
    device.page.wait_for_url("**/waiting/")
    Session.objects.all().delete()
    device.back()
    device.page.goto(bar_page)
    expect(device.page.get_by_role("heading", level=1)).to_have_text("Sign in")
    device.until(lambda: device.kept() == [])
    assert device.states() == ["waiting"]  # what was typed waits for its person


def test_a_page_that_may_not_be_seen_any_more_is_deleted(device: Device, bar_page: str) -> None:
    Assignment.objects.all().delete()
    device.page.goto(bar_page)
    device.until(lambda: bar_page not in device.kept())
    assert "/waiting/" in device.kept()


def test_a_page_is_asked_for_once(device: Device, monkeypatch: pytest.MonkeyPatch) -> None:
    asked, really = Counter[str](), RequestContextMiddleware.__call__

    def call(self: RequestContextMiddleware, request: HttpRequest) -> HttpResponse:
        asked[request.path] += 1
        return really(self, request)

    monkeypatch.setattr(RequestContextMiddleware, "__call__", call)
    device.page.goto("/recipes/")
    device.page.wait_for_timeout(1500)
    assert asked["/recipes/"] == 1


def test_a_device_that_stores_nothing_sends_all_the_same(device: Device) -> None:
    before = CheckShot.objects.count()
    _in_worker(device, NO_STORE)
    log(device, "38.5")
    device.page.wait_for_url("**/shots/*/")
    assert CheckShot.objects.count() == before + 1


def test_three_taps_at_one_moment_are_one_entry(device: Device) -> None:
    _in_worker(device, THRICE)
    assert [each["again"] for each in device.entries()] == [2]


def test_whoever_signs_out_is_signed_out_although_the_store_fails(device: Device) -> None:
    _in_worker(device, NO_ANSWER)
    device.page.locator("summary", has_text="Menu").click()
    device.page.get_by_role("button", name="Sign out").click()
    device.page.wait_for_url("**/account/login/**")
    assert device.kept() == []


def test_what_is_noted_before_the_worker_knows_who_is_here_is_theirs(
    device: Device, bar_page: str
) -> None:
    before = CheckShot.objects.count()
    device.drop()
    log(device, "38.5")
    device.page.wait_for_url("**/waiting/")
    _in_worker(device, SOMEBODY_ELSE)
    device.back()
    device.page.goto(bar_page)
    device.settled()
    assert CheckShot.objects.count() == before + 1
    expect(device.page.locator("#waits")).not_to_contain_text("by somebody else")


def test_what_comes_late_from_anothers_page_holds_up_nobody(device: Device, bar_page: str) -> None:
    before = CheckShot.objects.count()
    _in_worker(device, LATE)
    device.drop()
    log(device, "38.5")
    device.page.wait_for_url("**/waiting/")
    device.back()
    device.page.goto(bar_page)
    device.settled()
    assert CheckShot.objects.count() == before + 1
    expect(device.page.locator("#waits")).to_contain_text("1 noted here by somebody else")


def test_a_page_of_before_is_not_shown_to_who_just_signed_in(
    cast: Cast, device: Device, bar_page: str
) -> None:
    """Also when the line goes before their first page could say who is here."""
    sign_in(device.context, cast.shop_lead, device.origin)
    device.page.add_init_script(SILENT)
    device.page.goto("/waiting/")
    device.until(lambda: bar_page not in device.kept())
    device.drop()
    device.page.goto(bar_page)
    expect(device.page.get_by_role("button", name="Log shot")).to_have_count(0)
