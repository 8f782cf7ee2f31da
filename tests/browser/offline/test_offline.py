"""Without a line: pages with their age, and what is sent waits, goes once, and is told."""

import re

import pytest
from django.contrib.sessions.models import Session
from django.urls import reverse
from playwright.sync_api import Dialog, expect

from recipes.requests.models import ChangeRequest
from stations.shots.models import CheckShot
from stations.slots.models import Placement, ReadBack
from tests.browser.conftest import OpenPage, sign_in
from tests.browser.looking import axe, fits
from tests.browser.offline.conftest import log, opened
from tests.browser.offline.device import Device
from tests.browser.scene import Scene
from tests.cast import Cast
from tests.stations.conftest import place

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_kept_page_says_how_old_it_is(device: Device, bar_page: str) -> None:
    device.drop()
    device.page.goto(bar_page)
    told = device.page.locator("#as-of")
    expect(told).to_contain_text("No line: nothing here is newer than that.")
    expect(told).to_contain_text("less than a minute ago")
    expect(device.page.get_by_label("Yield")).to_be_visible()
    axe(device.page)
    fits(device.page)


def test_a_page_never_opened_leads_to_what_is_noted(device: Device) -> None:
    device.drop()
    device.page.goto("/recipes/")
    expect(device.page.get_by_role("heading", level=1)).to_have_text("Noted on this device")


def test_shots_wait_and_go_once_in_order(device: Device, bar_page: str) -> None:
    before = CheckShot.objects.count()
    device.drop()
    for _ in range(2):  # two that are alike are two
        device.page.goto(bar_page)
        log(device, "38.5")
        device.page.wait_for_url("**/waiting/")
    device.page.goto(bar_page)
    log(device, "39.5")
    device.page.wait_for_url("**/waiting/")
    expect(device.page.locator("#waits")).to_contain_text("3 noted here wait to be sent")
    expect(device.page.locator("[data-queue=waiting] li")).to_have_count(3)
    expect(device.page.get_by_text("39.5")).to_be_visible()
    axe(device.page)
    assert CheckShot.objects.count() == before
    device.back()
    expect(device.page.locator("[data-queue=sent] li")).to_have_count(3)
    expect(device.page.locator("#waits")).to_be_hidden()
    newest = CheckShot.objects.order_by("id").values_list("beverage_mass", flat=True)[before:]
    assert [f"{each:f}" for each in newest] == ["38.5", "38.5", "39.5"]


def test_with_a_line_a_shot_leads_to_its_page_and_nothing_waits(device: Device) -> None:
    log(device, "38.5")
    device.page.wait_for_url("**/shots/*/")
    assert device.states() == []


def test_what_waits_outlives_the_page_and_goes_when_one_is_opened(
    device: Device, bar_page: str
) -> None:
    before = CheckShot.objects.count()
    device.drop()
    log(device, "38.5")
    device.page.wait_for_url("**/waiting/")
    device.page.close()
    device.back()
    device.page = device.context.new_page()
    device.page.goto(bar_page)
    device.settled()
    device.page.goto("/waiting/")
    expect(device.page.locator("[data-queue=sent] li")).to_have_count(1)
    assert CheckShot.objects.count() == before + 1


def test_what_the_slot_does_not_hold_any_more_is_refused_and_brought_back(
    cast: Cast, scene: Scene, device: Device
) -> None:
    device.drop()
    log(device, "38.5")
    device.page.wait_for_url("**/waiting/")
    placed = Placement.objects.in_force().get(slot=scene.slot)
    place(scene.slot, cast.head_roaster, cup=placed.settings.cup)
    before = CheckShot.objects.count()
    device.back()
    refused = device.page.locator("[data-queue=refused] li")
    expect(refused).to_contain_text("the shot was pulled for what it held before")
    refused.get_by_role("button", name="Open it again").click()
    expect(device.page.get_by_label("Yield")).to_have_value("38.5")
    assert CheckShot.objects.count() == before
    device.page.get_by_role("button", name="Log shot").click()
    device.page.wait_for_url("**/shots/*/")
    assert CheckShot.objects.count() == before + 1
    assert device.states() == []


def test_a_session_that_ended_asks_to_sign_in_and_then_sends(
    cast: Cast, device: Device, bar_page: str
) -> None:
    before = CheckShot.objects.count()
    device.drop()
    log(device, "38.5")
    device.page.wait_for_url("**/waiting/")
    Session.objects.all().delete()
    device.back()
    device.page.goto(bar_page)
    expect(device.page).to_have_url(re.compile("/account/login/"))
    assert CheckShot.objects.count() == before
    assert device.states() == ["waiting"]
    sign_in(device.context, cast.barista, device.origin)
    device.page.goto(bar_page)
    device.settled()
    device.page.goto("/waiting/")
    expect(device.page.locator("[data-queue=sent] li")).to_have_count(1)
    assert CheckShot.objects.get(pk=CheckShot.objects.latest("id").pk).by == cast.barista


def test_what_one_noted_is_never_sent_as_another(cast: Cast, device: Device, bar_page: str) -> None:
    before = CheckShot.objects.count()
    device.drop()
    log(device, "38.5")
    device.page.wait_for_url("**/waiting/")
    sign_in(device.context, cast.shop_lead, device.origin)
    device.back()
    device.page.goto(bar_page)
    expect(device.page.locator("#waits")).to_contain_text("1 noted here by somebody else")
    device.ask(ask="send", eager=True)
    assert device.entries() == []
    assert CheckShot.objects.count() == before
    device.keeps(bar_page)
    assert bar_page in device.kept()


def _sign_out(device: Device, *, sure: bool = True) -> str:
    """Tap it; what was asked, if anything was."""
    said: list[str] = []

    def answer(dialog: Dialog) -> None:
        said.append(dialog.message)
        if sure:
            dialog.accept()
        else:
            dialog.dismiss()

    device.page.once("dialog", answer)
    if not device.page.get_by_role("button", name="Sign out").is_visible():
        device.page.locator("summary", has_text="Menu").click()
    device.page.get_by_role("button", name="Sign out").click()
    device.page.wait_for_timeout(500)
    return "".join(said)


def test_without_a_line_nobody_is_signed_out(device: Device) -> None:
    device.drop()
    log(device, "38.5")
    device.page.wait_for_url("**/waiting/")
    assert _sign_out(device) == "Signing out needs the line. Nothing was sent or deleted."
    assert device.states() == ["waiting"]


def test_signing_out_asks_about_what_is_left_and_leaves_nothing(
    cast: Cast, scene: Scene, device: Device
) -> None:
    device.drop()
    log(device, "38.5")
    device.page.wait_for_url("**/waiting/")
    place(scene.slot, cast.head_roaster)
    device.back()
    expect(device.page.locator("[data-queue=refused] li")).to_have_count(1)
    question = "1 noted here is not sent, or refused. Signing out deletes it. Sign out?"
    assert _sign_out(device, sure=False) == question
    assert device.states() == ["refused"]
    assert _sign_out(device) == question
    device.page.wait_for_url("**/account/login/**")
    assert device.kept() == []
    device.drop()
    device.page.goto("/waiting/")
    expect(device.page.get_by_role("heading", level=1)).to_have_text("No line")


def test_a_round_and_a_request_wait_too(cast: Cast, scene: Scene, open_page: OpenPage) -> None:
    round_page = reverse("stations:to_key", args=[scene.site.pk])
    device = opened(open_page, cast, round_page, "shop_lead")
    asking = f"{reverse('recipes:request_new')}?slot={scene.slot.pk}"
    device.page.goto(asking)
    device.keeps(asking)
    read, asked = ReadBack.objects.count(), ChangeRequest.objects.count()
    device.drop()
    device.page.goto(round_page)
    device.page.get_by_label("As shown").first.check()
    device.page.get_by_role("button", name="Save what was read back").click()
    device.page.wait_for_url("**/waiting/")
    device.page.goto(asking)
    device.page.locator("#id_brew_temperature").fill("94.5")
    device.page.get_by_label("Reason").fill("Sour since Monday.")
    device.page.get_by_role("button", name="Send the request").click()
    device.page.wait_for_url("**/waiting/")
    expect(device.page.locator("[data-queue=waiting] li")).to_have_count(2)
    device.back()
    expect(device.page.locator("[data-queue=sent] li")).to_have_count(2)
    assert ReadBack.objects.count() == read + 1
    assert ChangeRequest.objects.count() == asked + 1
