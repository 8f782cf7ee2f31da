"""Who may have overwritten a slot, and a site's year: right, for owners, at a constant cost."""

from datetime import UTC, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from audit.capture.context import Channel, RequestContext, request_context
from audit.errors import Refused
from people.persons.models import Assignment
from recipes.overview.yearly import year_of
from stations.slots.by_hand import set_by_hand
from stations.slots.overwritten import acted_within, roles_there, window_of
from stations.slots.read_backs import read_back
from tests.cast import Cast, SignedIn
from tests.stations.conftest import FOUND, Bar, bar, place

__all__ = ["bar"]
pytestmark = pytest.mark.django_db
WRONG = {**FOUND, "water_volume": "999"}


@pytest.fixture
def spoiled(bar: Bar, cast: Cast) -> Bar:
    """Matched, then touched by hand next door, then found to differ twice by the gateway."""
    placement = place(bar.slot, cast.head_roaster)
    lead = cast.shop_lead
    read_back(slot=bar.slot, found=FOUND, by=lead, seen_placement=placement.pk)
    other = bar.second.slots.get(number=1)
    set_by_hand(slot=other, values={"brew_temperature": "92"}, by=lead)
    token = request_context.set(RequestContext(channel=Channel.GATEWAY))
    for _ in range(2):
        read_back(slot=bar.slot, found=WRONG, by=lead, seen_placement=placement.pk)
    request_context.reset(token)
    return bar


def test_the_window_is_between_the_last_right_and_the_first_wrong(spoiled: Bar) -> None:
    first, wrong, _ = spoiled.slot.read_backs.order_by("pk")
    window = window_of(spoiled.slot)
    assert window
    assert (window.matching, window.differing) == (first, wrong)
    assert first.at <= window.begin < window.end
    assert (window.matching_channel, window.differing_channel) == ("console", "gateway")


def test_without_a_matching_one_it_begins_when_the_placement_did(bar: Bar, cast: Cast) -> None:
    assert window_of(bar.slot) is None
    placement = place(bar.slot, cast.head_roaster)
    read_back(slot=bar.slot, found=WRONG, by=cast.shop_lead, seen_placement=placement.pk)
    window = window_of(bar.slot)
    assert window
    assert (window.matching, window.begin) == (None, placement.started_at)


def test_who_acted_is_told_nearest_first_by_road(spoiled: Bar, cast: Cast) -> None:
    window = window_of(spoiled.slot)
    assert window
    acted = acted_within(spoiled.slot, window)
    assert {line.actor for line in acted} == {cast.shop_lead.name}
    assert [line.near for line in acted] == sorted(
        (line.near for line in acted), key=["slot", "station", "site"].index
    )
    assert {"slot", "site"} <= {line.near for line in acted}
    assert "gateway" in {line.channel for line in acted}
    named = {given.user for given in roles_there(spoiled.slot, window.end)}
    assert cast.shop_lead in named
    assert cast.other_lead not in named


def test_the_page_is_the_owners_and_linked_where_it_differs(
    spoiled: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    address = reverse("recipes:overwritten", args=[spoiled.slot.pk])
    page = reverse("stations:slot", args=[spoiled.slot.pk])
    owner = signed_in(cast.owner)
    assert address in owner.get(page).content.decode()
    shown = owner.get(address).content.decode()
    assert "gateway" in shown
    assert cast.shop_lead.name in shown
    lead = signed_in(cast.shop_lead)
    assert lead.get(address).status_code == 403
    assert address not in lead.get(page).content.decode()


def test_the_year_counts_acts_refusals_and_outcomes(spoiled: Bar, cast: Cast) -> None:
    with pytest.raises(Refused):
        set_by_hand(slot=spoiled.slot, values={"brew_temperature": "90"}, by=cast.shop_lead)
    now = datetime.now(UTC)
    year = year_of(cast.site, now.year)
    lines = {line.name: line for line in (*year.outcomes, *year.actions)}
    assert lines["Refused"].total == 1
    assert lines["Different versions placed"].total == lines["Slots placed"].total == 1
    assert lines["Set slot by hand"].total == 1
    assert year_of(cast.site, now.year - 1).empty
    assert year_of(cast.other_site, now.year).refusals.total == 0


def test_both_cost_the_same_whatever_happened(
    spoiled: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    owner = signed_in(cast.owner)
    addresses = [
        reverse("recipes:overwritten", args=[spoiled.slot.pk]),
        reverse("recipes:year", args=[cast.site.pk]),
    ]

    def cost() -> list[int]:
        counted = []
        for address in addresses:
            with CaptureQueriesContext(
                connection,
            ) as queries:
                answer = owner.get(address)
            assert answer.status_code == 200
            counted.append(len(queries))
        return counted

    cost()
    before = cost()
    for number in (1, 2):
        slot = spoiled.second.slots.get(number=number)
        place(slot, cast.head_roaster)
    Assignment.objects.create(user=cast.barista, role="technician", site=cast.site)
    assert cost() == before
    assert owner.get(f"{addresses[1]}?year=20x6").status_code == 400
