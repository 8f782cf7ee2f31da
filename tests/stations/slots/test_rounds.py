"""A round of a site: a tick for each slot that is as shown, typing only where something differs."""

import pytest
from django.test import Client
from django.urls import reverse

from stations.slots.models import Placement, ReadBack
from stations.slots.verdicts import NOT_READ, compare, overall
from tests.cast import Cast, SignedIn
from tests.stations.conftest import VALUES, Bar, place

SHOULD = {
    "water_volume": {"value": "278", "unit": "{pulse}"},
    "brew_temperature": {"value": "93.0", "unit": "Cel"},
}

OTHER = {**VALUES, "water_volume": {**VALUES["water_volume"], "value": "281"}}


def _address(bar: Bar) -> str:
    return reverse("stations:to_key", args=[bar.machine.site_id])


def _send(browser: Client, bar: Bar, **typed: str) -> int:
    sent = {}
    for placement in Placement.objects.in_force():
        sent[f"slot{placement.slot_id}-seen_placement"] = str(placement.pk)
    named = {f"slot{bar.slot.pk}-{name}": text for name, text in typed.items()}
    answer: int = browser.post(f"{_address(bar)}?all=1", {**sent, **named}).status_code
    return answer


@pytest.fixture
def lead(bar: Bar, cast: Cast, signed_in: SignedIn) -> Client:
    place(bar.slot, cast.head_roaster)
    return signed_in(cast.shop_lead)


def test_one_tick_says_that_a_slot_is_as_shown(bar: Bar, lead: Client) -> None:
    assert _send(lead, bar, as_shown="on") == 302
    read = ReadBack.objects.get()
    assert read.verdict == "matches"
    assert read.found == {c: v["value"] for c, v in read.placement.settings.values.items()}
    page = lead.get(_address(bar)).content.decode()
    assert "Read back: 1 match." in page
    assert "every locked slot matches" in page


def test_a_difference_is_typed_where_it_is_seen(bar: Bar, lead: Client) -> None:
    assert _send(lead, bar, as_shown="on", water_volume="281") == 302
    read = ReadBack.objects.get()
    assert read.verdict == "differs"
    assert read.verdicts["water_volume"] == "differs"
    assert set(read.verdicts.values()) == {"differs", "matches"}


def test_what_nobody_looked_at_is_no_difference(bar: Bar, lead: Client) -> None:
    should = Placement.objects.get().settings.values["water_volume"]["value"]
    assert _send(lead, bar, water_volume=should) == 302
    read = ReadBack.objects.get()
    assert read.verdict == "unread"
    assert read.verdicts["water_volume"] == "matches"
    assert set(read.verdicts.values()) == {"matches", NOT_READ}
    assert Placement.objects.get().verdict == "unread"


def test_a_glance_at_one_value_takes_no_match_back(bar: Bar, lead: Client) -> None:
    _send(lead, bar, as_shown="on")
    should = Placement.objects.get().settings.values["water_volume"]["value"]
    _send(lead, bar, water_volume=should)
    assert Placement.objects.get().verdict == "matches"
    _send(lead, bar, water_volume="281")
    assert Placement.objects.get().verdict == "differs"


def test_ten_times_the_value_is_asked_about(bar: Bar, lead: Client) -> None:
    should = Placement.objects.get().settings.values["water_volume"]["value"]
    slip = {"as_shown": "on", "water_volume": f"{should}0"}
    assert _send(lead, bar, **slip) == 400
    assert not ReadBack.objects.exists()
    assert _send(lead, bar, **slip, sure="on") == 302
    assert ReadBack.objects.get().verdict == "differs"


def test_the_question_names_the_value_and_keeps_what_was_typed(bar: Bar, lead: Client) -> None:
    named = f"slot{bar.slot.pk}-water_volume"
    placement = Placement.objects.get()
    sent = {named: "28", f"slot{bar.slot.pk}-seen_placement": placement.pk}
    page = lead.post(_address(bar), sent).content.decode()
    assert "that divided by 10" in page
    assert 'value="28"' in page


@pytest.mark.parametrize(
    "typed", [{}, {"as_shown": "on", "holds_nothing": "on"}, {"water_volume": "lots"}]
)
def test_nothing_is_written_of_a_round_that_cannot_be_read(
    bar: Bar, lead: Client, typed: dict[str, str]
) -> None:
    assert _send(lead, bar, **typed) == 400
    assert not ReadBack.objects.exists()


def test_an_empty_slot_is_one_tick(bar: Bar, lead: Client) -> None:
    assert _send(lead, bar, holds_nothing="on") == 302
    assert set(ReadBack.objects.get().verdicts.values()) == {"missing"}


def test_what_changed_since_it_was_last_read_is_large_and_the_rest_small(
    bar: Bar, cast: Cast, lead: Client
) -> None:
    _send(lead, bar, as_shown="on")
    place(bar.slot, cast.head_roaster, OTHER)
    page = lead.get(_address(bar)).content.decode()
    large, _, small = page.partition('<dl class="settings">')[2].partition('<dl class="facts">')
    assert "281" in large
    assert "281" not in small.partition("</dl>")[0]
    assert "Brew temperature" in small.partition("</dl>")[0]


def test_something_else_in_force_meanwhile_is_told_and_not_written(
    bar: Bar, cast: Cast, lead: Client
) -> None:
    old = Placement.objects.get()
    place(bar.slot, cast.head_roaster, OTHER)
    prefix = f"slot{bar.slot.pk}"
    sent = {f"{prefix}-seen_placement": old.pk, f"{prefix}-as_shown": "on"}
    page = lead.post(_address(bar), sent, follow=True).content.decode()
    assert "1 not taken" in page
    assert not ReadBack.objects.exists()


def test_who_may_not_read_back_sees_no_form(
    bar: Bar, cast: Cast, lead: Client, signed_in: SignedIn
) -> None:
    other = signed_in(cast.owner)
    assert "As shown" not in other.get(_address(bar)).content.decode()
    assert _send(other, bar, as_shown="on") == 403


def test_verdicts_of_what_was_not_looked_at() -> None:
    part = compare(SHOULD, {"water_volume": "278.0"}, unread=["brew_temperature"])
    assert part == {"water_volume": "matches", "brew_temperature": NOT_READ}
    assert overall(part) == "unread"
    assert overall(compare(SHOULD, {"water_volume": "278"})) == "differs"
    assert overall(compare(SHOULD, {"water_volume": "1"}, unread=SHOULD)) == "differs"
