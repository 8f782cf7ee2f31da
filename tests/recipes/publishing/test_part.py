"""Whoever covers some of the sites reads of those alone."""

from decimal import Decimal

import pytest

from recipes.planning.accepting import accepted_in_words
from recipes.publishing import run
from recipes.publishing.models import PART
from stations.equipment.models import Site
from tests.bar import Bar
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish
from tests.recipes.permits.hands import granting

FLAGGED = "Upland: hot there\nHarbour: hot here\nHarbour, Harbour Two: hot at both\nHigh, Low: x"


def test_what_was_kept_in_words_is_told_where_all_of_it_is_covered() -> None:
    assert accepted_in_words(FLAGGED, [], whole=True) == FLAGGED.splitlines()
    assert accepted_in_words(FLAGGED, ["Harbour"], whole=False) == ["Harbour: hot here"]
    assert accepted_in_words(FLAGGED, ["Harbour", "Harbour Two"], whole=False) == [
        "Harbour: hot here",
        "Harbour, Harbour Two: hot at both",
    ]
    assert accepted_in_words(FLAGGED, ["High, Low"], whole=False) == ["High, Low: x"]
    assert accepted_in_words(FLAGGED, [], whole=False) == []


@pytest.fixture
def hot(bar: Bar) -> Bar:
    """Water boils near 90 °C at both sites (700 hPa, IAPWS): one flag, accepted for both."""
    high_up = {"altitude": Decimal(3000), "air_pressure": Decimal(700)}  # about as ISO 2533
    Site.objects.update(**high_up, air_pressure_on="2026-01-05")
    return bar


def test_a_publication(hot: Bar, send: Publish, signed_in: SignedIn, api_as: ApiAs) -> None:
    made = send()
    mine, other = (str(site) for site in (hot.cast.site, hot.cast.other_site))
    assert made.accepted is not None
    assert [sorted(each["sites"]) for each in made.accepted] == [
        sorted([hot.cast.site.pk, hot.cast.other_site.pk])
    ]
    page, list_of = f"/publications/{made.pk}/", "/publications/"
    whole = signed_in(hot.cast.head_roaster).get(page).content.decode()
    part = signed_in(hot.cast.shop_lead).get(page).content.decode()
    assert f"{mine}, {other}: brew temperature" in whole
    assert f"{mine}: brew temperature" in part
    assert other not in part
    assert PART in part
    assert PART in signed_in(hot.cast.shop_lead).get(list_of).content.decode()
    assert PART not in signed_in(hot.cast.head_roaster).get(list_of).content.decode()
    told = api_as(hot.cast.shop_lead).get(f"/api/v1/publications/{made.pk}/").json()
    assert (told["scope"], told["scope_label"]) == (None, PART)
    assert told["acknowledgement"].startswith(f"{mine}: ")
    assert other not in told["acknowledgement"]
    every = api_as(hot.cast.head_roaster).get(f"/api/v1/publications/{made.pk}/").json()
    assert every["scope"]["where"] == "all"
    assert every["acknowledgement"].startswith(f"{mine}, {other}: ")


def test_a_permit(hot: Bar, send: Publish, signed_in: SignedIn, api_as: ApiAs) -> None:
    run.run(send().pk)
    far = next(s for s in hot.slots if s.station.machine.site_id == hot.cast.other_site.pk)
    made = granting([hot.slots[0], far], hot.cast.head_roaster)()
    mine, other = (str(site) for site in (hot.cast.site, hot.cast.other_site))
    assert other in signed_in(hot.cast.head_roaster).get(f"/permits/{made.pk}/").content.decode()
    page = signed_in(hot.cast.shop_lead).get(f"/permits/{made.pk}/").content.decode()
    assert f"{mine}: " in page
    assert other not in page
    told = api_as(hot.cast.shop_lead).get(f"/api/v1/permits/{made.pk}/").json()
    assert mine in told["acknowledgement"]
    assert other not in told["acknowledgement"]
