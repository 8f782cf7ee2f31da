"""Addresses that the matrix leaves out, and what is told of things that lie at several sites."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from audit.capture.models import Entry
from people.persons.models import User
from recipes.permits.asking import ask_for_permit, holding
from tests.permissions.row import Row
from tests.permissions.test_matrix import NOT_ANSWERED, ask
from tests.permissions.world import World

pytestmark = pytest.mark.django_db


def read(world: World, person: User, name: str, kwargs: dict[str, Any]) -> Any:  # noqa: ANN401
    """What the API answers this person."""
    return world.browser_of(person).get(reverse(name, kwargs=kwargs)).json()


@pytest.mark.parametrize(
    "name", ["recipes:request_edit", "recipes:request_take_back", "recipes:request_seen"]
)
def test_authors_alone(world: World, name: str) -> None:
    row, cast = Row("POST", name, "L", "request", sited=True), world.bar.cast
    assert ask(row, world, "own", cast.shop_lead) not in NOT_ANSWERED
    for person in (cast.other_lead, cast.head_roaster, world.people["L"], world.people["B"]):
        assert ask(row, world, "own", person) in {403, 404}, person


def test_who_asked_for_a_permit_alone(world: World) -> None:
    cast, bar = world.bar.cast, world.bar
    free = [slot for slot in holding(bar.version, cast.site) if slot.number != 2]
    asked = ask_for_permit(
        by=cast.shop_lead, base=bar.version, site=cast.site, slots=[free[0].pk],
        changes={"brew_temperature": Decimal("92.0")}, ends_at=timezone.now() + timedelta(days=3),
        reason="Gasket worn",
    )  # fmt: skip
    world.own["asked"] = {"pk": asked.pk}
    for method, name in (
        ("POST", "recipes:permit_ask_edit"),
        ("PUT", "recipes_api:permit_request"),
    ):
        row = Row(method, name, "L", "asked", sited=True)
        assert ask(row, world, "own", cast.shop_lead) not in NOT_ANSWERED
        for person in (cast.other_lead, cast.head_roaster, world.people["L"], world.people["B"]):
            assert ask(row, world, "own", person) in {403, 404}, person


@pytest.mark.parametrize(
    ("method", "name"),
    [("PUT", "request"), ("POST", "request_take_back"), ("POST", "request_seen")],
)
def test_authors_alone_over_the_api(world: World, method: str, name: str) -> None:
    row, cast = Row(method, f"recipes_api:{name}", "L", "request", sited=True), world.bar.cast
    assert ask(row, world, "own", cast.shop_lead) not in NOT_ANSWERED
    for person in (cast.other_lead, cast.head_roaster, world.people["L"], world.people["B"]):
        assert ask(row, world, "own", person) in {403, 404}, person


def test_home_of_somebody_without_a_role_is_empty(world: World) -> None:
    for letter, person in world.people.items():
        page = world.browser_of(person).get(reverse("home"))
        assert page.status_code == 200
        shown = page.content.decode().replace(person.name, "")
        assert letter or world.bar.cast.site.name not in shown
        assert world.bar.cast.other_site.name not in shown
    assert not page.context["lists"]  # the last one has no role


def test_a_publication_tells_of_the_sites_one_covers(world: World) -> None:
    wide = world.shared["wide_publication"]
    own, other = world.bar.cast.site.pk, world.bar.cast.other_site.pk
    for person, sites in ((world.people["B"], {own}), (world.everywhere["B"], {own, other})):
        told = read(world, person, "recipes_api:publication", wide)
        assert {part["site"] for part in told["sites"]} == sites
        listed = read(world, person, "recipes_api:publications", {})["results"]
        parts = [part["site"] for one in listed for part in one["sites"]]
        assert set(parts) == sites


def test_the_list_of_publications_counts_the_slots_one_covers(world: World) -> None:
    for person in (world.people["B"], world.everywhere["B"]):
        page = world.browser_of(person).get(reverse("recipes:publications")).context
        rows = [*page["open"], *page["page"].rows]
        listed = read(world, person, "recipes_api:publications", {})["results"]
        told = {one["id"]: sum(part["slots"] for part in one["sites"]) for one in listed}
        assert {row.pk: row.slots or 0 for row in rows} == told


def test_an_owner_of_one_site_finds_no_names_of_another(world: World) -> None:
    cast = world.bar.cast
    there = {slot.station.machine for slot in world.bar.slots}
    own, other = (
        next(one.name for one in there if one.site == site) for site in (cast.site, cast.other_site)
    )
    asked = {(name, who): 400 if (name, who) == (other, "one site") else 200
             for name in (own, other) for who in ("one site", "all")}  # fmt: skip
    owners = {"one site": world.people["O"], "all": world.everywhere["O"]}
    for (name, who), status in asked.items():
        query = {"subject": name, "about": "machine"}
        answer = world.browser_of(owners[who]).get(reverse("audit:history"), query)
        assert answer.status_code == status, (name, who)


def test_a_permit_tells_of_the_slots_one_covers(world: World) -> None:
    wide = world.shared["wide_permit"]
    told = read(world, world.people["B"], "recipes_api:permit", wide)
    whole = read(world, world.everywhere["B"], "recipes_api:permit", wide)
    mine = {slot.pk for slot in world.bar.slots if slot.station.machine.site == world.bar.cast.site}
    assert set(told["slots"]) == set(whole["slots"]) & mine
    assert set(told["slots"]) < set(whole["slots"])


def test_an_owner_of_one_site_reads_nothing_of_a_permits_slots_at_another(world: World) -> None:
    rows = Entry.objects.filter(table_name="recipes_permitslot")
    own = world.bar.cast.site.pk
    assert {entry.site_id for entry in rows} == {own, world.bar.cast.other_site.pk}
    browser = world.browser_of(world.people["O"])
    for entry in rows:
        answer = browser.get(reverse("audit:entry", args=[entry.pk]))
        assert answer.status_code == (200 if entry.site_id == own else 404)


def test_an_owner_of_one_site_is_offered_what_they_may(world: World) -> None:
    person = reverse("people:edit", kwargs=world.shared["person"])
    for owner, offered in ((world.people["O"], False), (world.everywhere["O"], True)):
        browser = world.browser_of(owner)
        page = browser.get(person).content.decode()
        assert reverse("people:give_role", kwargs=world.shared["person"]) in page
        assert (reverse("people:deactivate", kwargs=world.shared["person"]) in page) == offered
        assert (reverse("people:policy") in page) == offered
        people = browser.get(reverse("people:list")).content.decode()
        assert (reverse("people:add") in people) == offered
        sets = browser.get(reverse("stations:machine_types")).content.decode()
        assert (reverse("stations:machine_type_add") in sets) == offered
        sites = browser.get(reverse("stations:sites")).content.decode()
        assert (reverse("stations:site_add") in sites) == offered
