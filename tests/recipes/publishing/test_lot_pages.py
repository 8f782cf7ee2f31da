"""What pages and programs say of a publication that waits for a lot."""

from html import unescape
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from recipes.publishing import run
from recipes.publishing.models import Publication
from stations.lots.models import LotOpening
from stations.slots.models import Placement
from tests.bar import Bar
from tests.cast import PASSWORD, ApiAs, SignedIn
from tests.publishing import Publish
from tests.recipes.publishing.lots import lot_of, opening, station_at, with_lot
from tests.recipes.publishing.test_api import act, everywhere, signed
from web.printing import day


@pytest.fixture
def roaster(bar: Bar, signed_in: SignedIn) -> Client:
    return signed_in(bar.cast.head_roaster)


def read(browser: Client, url: str) -> str:
    """The page as text."""
    return unescape(str(browser.get(url).content, "utf-8"))


def test_from_the_form_over_the_plan_to_progress(roaster: Client, bar: Bar) -> None:
    who = bar.cast.head_roaster
    lot, other = lot_of(bar.version, who), lot_of(bar.version, who, "R2")
    opening(other, station_at(bar.cast.site), bar.cast.barista)
    opening(lot, station_at(bar.cast.site), bar.cast.barista)
    where = reverse("recipes:publish", args=[bar.version.pk])
    assert "Morning blend R2" in read(roaster, where)
    chosen = {"where": "all", "slots": "1", "lot": str(lot.pk)}
    plan = roaster.get(where, chosen).url  # type: ignore[attr-defined]
    page = read(roaster, plan)
    assert "each site when it opens lot Morning blend R1" in page
    assert "lot R1 was opened there on" in page
    assert "when the lot is opened" in page
    seen = roaster.get(plan).context["form"].initial["seen_digest"]
    typed = {"password": PASSWORD, "reason": "New crop", "acknowledged": "on"}
    assert roaster.post(plan, {**typed, "email": who.email, "seen_digest": seen}).status_code == 302
    made = Publication.objects.get()
    run.run(made.pk)
    page = read(roaster, made.get_absolute_url())
    assert made.signature is not None
    signed_on = day(made.signature.at, bar.cast.other_site.time_zone)
    assert "Waits for lot Morning blend R1 since <time" in page
    assert f">{signed_on}</time> at: Upland." in page
    assert "can stop it and cancel the rest" in page
    assert "each site's opening of lot Morning blend R1" in page
    assert "3 of 4 slots placed" in page
    assert 'hx-trigger="every 60s"' in page


def test_a_time_beside_a_lot_or_a_lot_of_nobody_is_named(roaster: Client, bar: Bar) -> None:
    lot = lot_of(bar.version, bar.cast.head_roaster)
    url = reverse("recipes:publish_plan", args=[bar.version.pk])
    for more in (f"lot={lot.pk}&date=2026-12-24&time=06:00", "lot=987654", "lot=R1"):
        answer = roaster.get(f"{url}?where=all&slots=1&{more}")
        assert answer.status_code == 400, more
        assert "lot" in answer.context["form"].errors


def test_the_bar_sees_what_a_bag_begins(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    when = with_lot(bar)
    made, barista = send(when=when), signed_in(bar.cast.barista)
    pages = [
        reverse("stations:lots", args=[bar.cast.site.pk]),
        reverse("stations:lot_open_at_station", args=[bar.stations[0].pk]),
        reverse("stations:site", args=[bar.cast.site.pk]),
    ]
    for url in pages:
        page = read(barista, url)
        assert f"{bar.version} in 6 slots" in page, url
        assert "waiting since" in page, url
        assert made.get_absolute_url() in page
    slot = read(barista, bar.slots[0].get_absolute_url())
    assert "when Morning blend R1 is opened here" in slot
    assert when.lot
    opening(when.lot, station_at(bar.cast.site), bar.cast.barista)
    for url in pages:
        assert "in 6 slots" not in read(barista, url), url


def test_a_program_does_the_same(bar: Bar, api_as: ApiAs) -> None:
    who = bar.cast.head_roaster
    roaster, lot = api_as(who), lot_of(bar.version, who)
    body: dict[str, Any] = {**everywhere(bar), "lot": lot.pk}
    opening(lot, station_at(bar.cast.site), bar.cast.barista)
    status, plan, _ = act(roaster, "publications/plan/", body)
    assert status == 200
    assert {site["name"]: site["waits"] for site in plan["sites"]} == {
        "Harbour": False, "Upland": True,
    }  # fmt: skip
    status, made, _ = act(roaster, "publications/", signed(who, body, plan["digest"]))
    assert (status, made["lot"], made["lot_label"]) == (201, lot.pk, "Morning blend R1")
    begun = {site["name"]: (bool(site["begins_at"]), site["waits"]) for site in made["sites"]}
    assert begun == {"Harbour": (True, False), "Upland": (False, True)}
    waits = Placement.objects.filter(site=bar.cast.other_site).first()
    assert waits
    rows = roaster.get(f"/api/v1/slots/{waits.slot_id}/placements/").json()["results"]
    assert [row["waits_for"] for row in rows] == ["when Morning blend R1 is opened here"]
    for wrong in (987_654, "R1", -1):
        status, told, _ = act(roaster, "publications/plan/", {**body, "lot": wrong})
        assert status == 400, told
    status, told, _ = act(
        roaster, "publications/plan/", {**body, "date": "2026-12-24", "time": "06:00"}
    )
    assert (status, "either a lot" in str(told)) == (400, True)


def test_opening_by_a_program_begins_it(bar: Bar, send: Publish, api_as: ApiAs) -> None:
    when = with_lot(bar)
    made, barista = send(when=when), api_as(bar.cast.barista)
    body = {"station": bar.stations[0].pk, "code": "r1", "seen_opening": None}
    path = f"sites/{bar.cast.site.code}/lots/"
    first = act(barista, path, body, key="opened-once-by-this")
    assert first[0] == 201, first
    assert act(barista, path, body, key="opened-once-by-this") == first
    assert LotOpening.objects.count() == 1
    assert run.run(made.pk) == 6


def test_the_first_page_says_what_it_waits_for(
    bar: Bar, send: Publish, signed_in: SignedIn
) -> None:
    made = send(when=with_lot(bar))
    page = read(signed_in(bar.cast.barista), "/")
    assert made.signature is not None
    signed_on = day(made.signature.at, bar.cast.site.time_zone)
    words = f"{bar.version} in 6 slots when Morning blend R1 is opened, waiting since {signed_on}"
    assert words in page
    assert "slots placed, the rest waits for lot Morning blend R1 since " in read(
        signed_in(bar.cast.head_roaster), "/"
    )
