"""What lies at another site answers as if it were not there, and the attempt is in the history."""

import re
from typing import Any
from uuid import uuid4

import pytest
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from audit.capture import refusals
from audit.capture.context import record_outside
from audit.capture.models import Entry
from audit.reading import access
from audit.vocabulary import ELSEWHERE
from tests.permissions.row import Row
from tests.permissions.rows import ENDPOINTS, PAGES
from tests.permissions.test_matrix import ask
from tests.permissions.world import World
from web import lookup

pytestmark = pytest.mark.django_db
NOTHING_HAS_IT = 7_777_777


def attempts() -> list[Entry]:
    """Those written down, oldest first."""
    return list(Entry.objects.filter(action=ELSEWHERE, operation="refused").order_by("id"))


def _unwritten(row: Row, world: World, tried: list[dict[str, Any]]) -> str:
    """What is wrong about one row, asked by somebody who may do it, but at the other site."""
    person = next(world.people[letter] for letter in row.may if letter in world.people)
    tried.clear()
    status = ask(row, world, "other", person)
    told = [(each["by"].pk, each["site_id"]) for each in tried]
    if status != 404 or told != [(person.pk, world.bar.cast.other_site.pk)]:
        return f"{row.id}: {status}, {told}"
    return ""


@pytest.fixture
def tried(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """What is written down from here on: where the answer is undone, so is the entry."""
    found: list[dict[str, Any]] = []

    def note(**told: Any) -> None:  # noqa: ANN401
        found.append(told)
        record_outside(**told)

    for module in (lookup, access):
        monkeypatch.setattr(module, "record_outside", note)
    return found


@pytest.mark.parametrize("rows", [PAGES, ENDPOINTS])
def test_every_address_of_a_thing_at_a_site(
    world: World, rows: list[Row], tried: list[dict[str, Any]]
) -> None:
    slips = [slip for row in rows if row.sited and (slip := _unwritten(row, world, tried))]
    assert not slips, "\n" + "\n".join(slips)


def _slot(world: World, where: str) -> str:
    return reverse("stations:slot", kwargs=world.address("slot", where))


def test_who_tried_what_and_where(world: World) -> None:
    barista, url = world.people["B"], _slot(world, "other")
    world.browser_of(barista).get(url)
    [entry] = attempts()
    assert (entry.actor_id, entry.actor) == (barista.pk, barista.name)
    assert (entry.subject_type, entry.subject_id) == ("slot", world.other["slot"]["pk"])
    assert entry.site_id == world.bar.cast.other_site.pk
    assert entry.client_addr == "127.0.0.1"
    assert entry.changes == {"asked_for": [None, f"GET {url}"]}
    assert "at a site that their roles do not cover" in entry.reason


def test_who_tried_is_told_what_is_told_of_nothing(world: World) -> None:
    browser = world.browser_of(world.people["B"])
    nothing = reverse("stations:slot", kwargs={"pk": NOTHING_HAS_IT})
    for there, none in (
        (_slot(world, "other"), nothing),
        (_api(world.other["slot"]["pk"]), _api()),
    ):
        theirs, ours = browser.get(there), browser.get(none)
        assert theirs.status_code == ours.status_code == 404
        assert _plain(theirs.content) == _plain(ours.content)
        assert set(theirs.headers) == set(ours.headers)
    assert len(attempts()) == 2  # nothing is written of what is nowhere


def _api(pk: int = NOTHING_HAS_IT) -> str:
    return reverse("stations_api:slot", kwargs={"pk": pk})


def _plain(content: bytes) -> str:
    """Without what differs from answer to answer."""
    return re.sub(r"nonce-\S+|/slots/\d+/|value=\"\w{64}\"", "", content.decode())


def test_a_body_that_names_it_is_no_way_round(world: World, tried: list[dict[str, Any]]) -> None:
    browser, site = world.browser_of(world.people["O"]), world.bar.cast.other_site
    body = {"site": site.code, "name": "New", "machine_type": world.bar.full.pk}
    answer = browser.post(
        reverse("stations_api:machines"), body, content_type="application/json",
        headers={"Idempotency-Key": uuid4().hex},
    )  # fmt: skip
    assert answer.status_code == 400, answer.json()
    assert [(each["subject"].type, each["site_id"]) for each in tried] == [("site", site.pk)]


def test_of_the_history_too(world: World) -> None:
    """Who owns one site and asks for an entry, or the history of a thing, of another."""
    site = world.bar.cast.other_site
    theirs = Entry.objects.filter(subject_type="site", subject_id=site.pk).latest("id")
    browser = world.browser_of(world.people["O"])
    asked = [
        f"/history/{theirs.pk}/",
        f"/api/v1/history/{theirs.pk}/",
        f"/history/of/site/{site.pk}/",
    ]
    assert [browser.get(url).status_code for url in asked] == [404] * 3
    assert [each.changes["asked_for"][1] for each in attempts()] == [f"GET {url}" for url in asked]
    assert {(each.subject_type, each.site_id) for each in attempts()} == {("site", site.pk)}
    assert browser.get(f"/history/{theirs.pk + 10**6}/").status_code == 404
    assert len(attempts()) == 3


def test_a_loop_over_another_site_is_a_few_entries(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(refusals, "FEW", 5)  # as the program has it: other tests are not bounded
    monkeypatch.setattr(refusals, "MANY", 20)
    browser, url = world.browser_of(world.people["B"]), _slot(world, "other")
    assert {browser.get(url).status_code for _ in range(30)} == {404}
    tries = [re.findall(r"One of (\d+) tries", entry.reason) for entry in attempts()]
    assert tries == [[]] * 5 + [["10"]]


def test_what_is_found_costs_no_more(
    world: World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    """Only where nothing was found is anything looked up: one query for what is nowhere."""
    browser = world.browser_of(world.people["B"])
    nothing = reverse("stations:machine", kwargs={"pk": NOTHING_HAS_IT})
    with django_assert_max_num_queries(6):
        browser.get(nothing)


def test_the_owner_of_that_site_sees_it_under_refused(world: World) -> None:
    world.browser_of(world.people["B"]).get(_slot(world, "other"))
    address = "/history/?outcome=refused"
    page = world.browser_of(world.bar.cast.owner).get(address).content.decode()
    assert "Tried something at another site" in page
    assert ", from 127.0.0.1" in page
    assert f"(GET {_slot(world, 'other')})" in page
    own = world.browser_of(world.people["O"]).get(address).content.decode()
    assert _slot(world, "other") not in own  # it is about a site that is not theirs
