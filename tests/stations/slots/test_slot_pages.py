"""What the bar sees and does: settings, read-backs, locks, the sheet."""

from typing import Any

import pytest
from django.urls import reverse

from audit.capture.models import Entry
from stations.slots.models import Placement, ReadBack
from tests.cast import Cast, SignedIn
from tests.stations.conftest import FOUND, Bar, place

THIN = "\u202f"


def read(browser: Any, bar: Bar, **sent: object) -> Any:  # noqa: ANN401
    address = reverse("stations:read_back", args=[bar.slot.pk])
    return browser.post(address, {**FOUND, **sent})


def test_the_bar_page_shows_settings_in_the_machines_units(
    bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    place(bar.slot, cast.head_roaster)
    address = reverse("stations:at", args=[bar.first.code])
    shown = signed_in(cast.barista).get(address).content.decode()
    assert "Brew temperature" in shown
    assert "93.5" in shown
    assert "°C" in shown
    assert "280" in shown
    assert "pulses" in shown
    assert "House espresso, version 3" in shown
    assert "To load" in shown
    assert "scald" in shown
    assert "Read back" not in shown  # a barista reads nothing back


def test_the_sheet_leads_to_the_bar_page(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    place(bar.slot, cast.head_roaster)
    address = reverse("stations:sheet", args=[bar.first.pk])
    bare = signed_in(cast.barista).get(address).content.decode()
    assert f"http://testserver/at/{bar.first.code}/" in bare
    assert 'src="data:image/svg+xml' in bare
    assert "93.5" not in bare  # what hangs for months holds no numbers that go stale
    dated = signed_in(cast.barista).get(f"{address}?settings=1").content.decode()
    assert "93.5" in dated
    assert "Printed" in dated


def test_a_read_back_is_typed_and_judged(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    placement = place(bar.slot, cast.head_roaster)
    browser = signed_in(cast.shop_lead)
    answer = read(browser, bar, seen_placement=placement.pk, water_volume="281")
    assert answer.status_code == 302
    shown = browser.get(answer["Location"]).content.decode()
    assert shown.count("Differs") >= 1
    assert shown.count("Matches") == 2
    board = browser.get(reverse("stations:board")).content.decode()
    assert "1 differ" in board


@pytest.mark.parametrize(
    "sent",
    [
        {"water_volume": "lots"}, {"water_volume": "-1"}, {"water_volume": "28,0,5"},
        {"water_volume": "NaN"}, {"water_volume": "9" * 40}, {"ends_by": "magic"},
        {"water_volume": "", "brew_temperature": "", "ends_by": ""}, {"holds_nothing": "on"},
        {"seen_placement": ""}, {"seen_placement": "x"}, {"seen_placement": "9" * 30},
    ],
)  # fmt: skip
def test_a_slip_of_the_finger_is_named(
    bar: Bar, cast: Cast, signed_in: SignedIn, sent: dict[str, str]
) -> None:
    placement = place(bar.slot, cast.head_roaster)
    answer = read(signed_in(cast.shop_lead), bar, **{"seen_placement": placement.pk, **sent})
    assert answer.status_code == 400
    assert not ReadBack.objects.exists()


def test_an_empty_slot_is_said_to_be_empty(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    placement = place(bar.slot, cast.head_roaster)
    nothing = dict.fromkeys(FOUND, "")
    answer = read(
        signed_in(cast.shop_lead), bar, seen_placement=placement.pk, holds_nothing="on", **nothing
    )
    assert answer.status_code == 302
    assert set(ReadBack.objects.get().verdicts.values()) == {"missing"}


def test_an_old_page_is_told_that_the_settings_changed(
    bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    old = place(bar.slot, cast.head_roaster)
    place(bar.slot, cast.head_roaster)
    answer = read(signed_in(cast.shop_lead), bar, seen_placement=old.pk)
    assert answer.status_code == 412
    assert "newest" in answer.content.decode()


def test_a_slot_that_holds_nothing_has_nothing_to_read_back(
    bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    browser = signed_in(cast.shop_lead)
    address = reverse("stations:read_back", args=[bar.slot.pk])
    assert "nothing to compare" in browser.get(address).content.decode()
    assert read(browser, bar, seen_placement=1, holds_nothing="on").status_code == 409


def test_somebody_elses_read_back_is_404(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    placement = place(bar.slot, cast.head_roaster)
    read(signed_in(cast.shop_lead), bar, seen_placement=placement.pk)
    made = ReadBack.objects.get()
    other = reverse("stations:read_back", args=[bar.second.slots.get(number=1).pk])
    assert signed_in(cast.shop_lead).get(f"{other}?read={made.pk}").status_code == 404


def test_the_slot_page_tells_the_whole_story(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    for _ in range(3):
        placement = place(bar.slot, cast.head_roaster)
    read(signed_in(cast.shop_lead), bar, seen_placement=placement.pk)
    shown = signed_in(cast.owner).get(bar.slot.get_absolute_url()).content.decode()
    assert f"Published: {cast.head_roaster.name}, Head roaster" in shown
    assert "Locked" in shown
    assert "A head roaster changes it" in shown
    assert shown.count("Ended") == 2
    assert f"/history/of/slot/{bar.slot.pk}/" in shown


def test_setting_a_locked_slot_is_refused_on_the_page(
    bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    browser = signed_in(cast.shop_lead)
    address = reverse("stations:set_by_hand", args=[bar.slot.pk])
    assert browser.post(address, {"water_volume": "281"}).status_code == 302
    held = place(bar.slot, cast.head_roaster)
    looked = browser.get(address)
    assert looked.status_code == 409
    assert not Entry.objects.filter(operation="refused").exists()
    for typed in ("282", "lots", "x" * 5000):
        answer = browser.post(address, {"water_volume": typed})
        assert answer.status_code == 409
        assert "head roaster" in answer.content.decode()
    assert Placement.objects.get(slot=bar.slot, state="in_force") == held
    assert Entry.objects.filter(operation="refused", channel="page").count() == 3


def test_what_to_key_in_lists_only_what_waits(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    first = place(bar.slot, cast.head_roaster)
    place(bar.second.slots.get(number=2), cast.head_roaster)
    browser, address = signed_in(cast.shop_lead), reverse("stations:to_key", args=[cast.site.pk])
    assert browser.get(address).content.decode().count("House espresso") == 2
    read(browser, bar, seen_placement=first.pk)
    assert browser.get(address).content.decode().count("House espresso") == 1
    assert browser.get(f"{address}?all=1").content.decode().count("House espresso") == 2
