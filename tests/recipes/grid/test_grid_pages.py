"""The grid's page and endpoint: what they say, for whom, and at what cost."""

from datetime import UTC, datetime, timedelta
from html import unescape
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from recipes.grid.asked import moment_of
from recipes.publishing import run
from recipes.publishing.scope import Scope, Where
from recipes.versions.review import withdraw
from stations.equipment.models import Site
from stations.slots.read_backs import read_back
from tests.bar import Bar, approved, draft, station
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish
from tests.recipes.permits.test_permits import permit

BUDGET = 24  # session, person and roles; two lists to choose from; is it as signed; the grid's own


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The recipe in every slot; one found to differ, one on permit, a newer version approved."""
    run.run(send().pk)
    who = bar.cast.head_roaster
    first, second = bar.slots[0], bar.slots[1]
    held = first.placements.get(state="in_force")
    read_back(by=who, slot=first, seen_placement=held.pk, found={"brew_temperature": "90"})
    permit([second], who)
    approved(bar.cast, draft(bar.cast, recipe=bar.version.recipe))
    return bar


def words(browser, query: str = "") -> str:  # type: ignore[no-untyped-def]  # noqa: ANN001
    answer = browser.get(f"/grid/{query}")
    assert answer.status_code == 200
    return unescape(answer.content.decode())


def test_it_says_what_is_where_and_how_it_stands(placed: Bar, signed_in: SignedIn) -> None:
    page = words(signed_in(placed.cast.head_roaster))
    for said in (str(placed.version), "Differs", "On permit", "To load", "Superseded",
                 "Publish version 2", "Ask for a change", "Harbour", "Upland"):  # fmt: skip
        assert said in page, said


def test_what_was_taken_out_of_use_is_not_called_superseded(
    placed: Bar, send: Publish, signed_in: SignedIn
) -> None:
    who = placed.cast.head_roaster
    newest = placed.version.recipe.versions.get(state="approved")
    run.run(send(newest).pk)
    withdraw(by=who, version=newest, revision=newest.revision, reason="Sold out")
    page = words(signed_in(who))
    assert "Withdrawn" in page
    assert "Superseded" not in page


def test_where_a_moment_is_still_to_come_it_is_as_of_now(bar: Bar) -> None:
    """It has passed in the east, and not in the west: that site is shown as of now."""
    east, west = ZoneInfo("Pacific/Kiritimati"), ZoneInfo("Pacific/Pago_Pago")
    Site.objects.filter(pk=bar.cast.site.pk).update(time_zone=west.key)
    Site.objects.filter(pk=bar.cast.other_site.pk).update(time_zone=east.key)
    wall = datetime.now(east) - timedelta(minutes=1)
    asked = moment_of("as_of", wall.date(), wall.time())
    assert asked is not None
    assert asked.at(east.key) == wall
    assert abs(asked.at(west.key) - datetime.now(UTC)) < timedelta(minutes=1)


def test_it_says_what_is_not_compared(placed: Bar, signed_in: SignedIn) -> None:
    page = words(signed_in(placed.cast.head_roaster), "?since=2020-03-01")
    assert "not how they were read back" in page


def test_a_slot_that_was_not_asked_for_has_its_number(placed: Bar, signed_in: SignedIn) -> None:
    page = words(signed_in(placed.cast.head_roaster), "?state=differs")
    assert 'class="not-asked" data-label="Slot 2"' in page


def test_each_sees_their_sites_and_what_they_may(placed: Bar, signed_in: SignedIn) -> None:
    lead, barista = (words(signed_in(who)) for who in (placed.cast.shop_lead, placed.cast.barista))
    assert "Upland" not in lead + barista
    assert ("Ask for a change" in lead, "Publish version" in lead) == (True, False)
    assert "Ask for a change" not in barista


@pytest.mark.parametrize(
    ("query", "shows"),
    [
        ("?state=differs", {"Harbour"}), ("?state=on_permit", {"Harbour"}),
        ("?state=to_load", {"Harbour", "Upland"}), ("?state=empty", set()), ("?q=upl", {"Upland"}),
        ("?as_of=2020-03-01&as_of_time=08:00&state=empty", {"Harbour", "Upland"}),
        ("?as_of=2020-03-01&state=matches", set()), ("?since=2020-03-01", {"Harbour", "Upland"}),
    ],
)  # fmt: skip
def test_filters(placed: Bar, signed_in: SignedIn, query: str, shows: set[str]) -> None:
    page = words(signed_in(placed.cast.head_roaster), query)
    assert {name for name in ("Harbour", "Upland") if f"Slots at {name}" in page} == shows


def test_ways_lead_to_that_slot(placed: Bar, signed_in: SignedIn) -> None:
    browser = signed_in(placed.cast.head_roaster)
    page = browser.get("/grid/").content.decode()
    begin = page.index("/versions/")
    address = unescape(page[begin : page.index('"', begin)])
    plan = browser.get(address, follow=True)
    assert plan.status_code == 200
    assert plan.request["PATH_INFO"].endswith("/publish/plan/")


def test_a_window_has_whole_sites_and_leads_on(
    placed: Bar, signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("recipes.grid.matching.MOST_SLOTS", 6)
    browser = signed_in(placed.cast.owner)
    assert "Slots at Upland" not in words(browser)
    further = words(browser, "?after=Harbour")
    assert ("Slots at Upland" in further, "Slots at Harbour" in further) == (True, False)
    back = words(browser, "?before=Upland")
    assert ("Slots at Harbour" in back, "Slots at Upland" in back) == (True, False)


@pytest.mark.parametrize(
    "query", ["", "?since=2020-01-01", "?as_of=2026-01-01", "?state=differs", "?coffee={coffee}"]
)
def test_it_asks_no_more_as_it_grows(
    placed: Bar, signed_in: SignedIn, send: Publish, query: str
) -> None:
    address = "/grid/" + query.format(coffee=placed.version.recipe.coffee_id)
    browser = signed_in(placed.cast.head_roaster)

    def asked() -> int:
        browser.get(address)
        with CaptureQueriesContext(connection) as told:
            assert browser.get(address).status_code == 200
        return len(told)

    small = asked()
    for number in range(5, 9):
        made = station(placed.stations[0].machine, number, "4.02", slots=4)
        newest = placed.version.recipe.versions.get(state="approved")
        run.run(send(newest, scope=Scope(Where.STATIONS, (made.pk,))).pk)
    large = asked()
    assert small == large <= BUDGET


def test_the_endpoint_tells_the_same(placed: Bar, api_as: ApiAs) -> None:
    api = api_as(placed.cast.shop_lead)
    rows = api.get("/api/v1/grid/").json()["results"]
    assert {row["site"] for row in rows} == {"harbour"}
    first = next(row for row in rows if row["slot"] == placed.slots[0].pk)
    assert (first["condition"], first["recipe"]) == ("differs", placed.version.recipe_id)
    before = datetime.now(UTC) - timedelta(days=1)
    then = api.get("/api/v1/grid/", {"as_of": before.isoformat()}).json()["results"]
    assert {row["condition"] for row in then} == {"empty"}
    changed = api.get("/api/v1/grid/", {"since": before.isoformat(), "state": "differs"}).json()
    assert [row["before"]["condition"] for row in changed["results"]] == ["empty"]
    assert api.get("/api/v1/grid/", {"as_of": "2999-01-01T00:00Z"}).status_code == 400
