"""What happened to one thing, over the API: as far as its page goes, and no farther."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from audit.capture.context import Channel, RequestContext, request_context
from audit.capture.models import Entry
from people.persons.actions import assign_role, create_person
from people.persons.models import User
from people.persons.verbs import Role
from recipes.publishing import run
from tests.bar import Bar
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish, send
from tests.recipes.requests.test_attached import read

__all__ = ["send"]
API = "/api/v1/history/"


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The bar with its recipe in force at both sites, and a slot read back at each."""
    run.run(send().pk)
    before = request_context.set(RequestContext(channel=Channel.API, request_id="from-there"))
    for slot in (bar.slots[0], bar.slots[-1]):
        read(bar, slot)
    request_context.reset(before)
    return bar


def told_of(client: APIClient, type_: str, pk: int, query: str = "") -> list[dict[str, Any]]:
    answer = client.get(f"{API}of/{type_}/{pk}/{query}")
    assert answer.status_code == 200, answer.json()
    rows: list[dict[str, Any]] = answer.json()["results"]
    return rows


def test_a_roaster_reads_what_the_page_shows(
    placed: Bar, api_as: ApiAs, signed_in: SignedIn
) -> None:
    roaster, slot = placed.cast.head_roaster, placed.slots[0]
    page = signed_in(roaster).get(f"/history/of/slot/{slot.pk}/").content.decode()
    rows = told_of(api_as(roaster), "slot", slot.pk)
    assert rows
    assert all(f'href="/history/{row["id"]}/"' in page for row in rows)
    assert page.count('<th scope="row" data-label="Time">') == len(rows)
    assert {(row["client_addr"], row["request_id"]) for row in rows} == {(None, "")}
    one = api_as(roaster).get(f"{API}{rows[0]['id']}/").json()
    assert (one["client_addr"], one["request_id"], one["id"]) == (None, "", rows[0]["id"])


def test_one_parameter_a_page_at_a_time(placed: Bar, api_as: ApiAs) -> None:
    roaster, slot = api_as(placed.cast.head_roaster), placed.slots[0]
    rows = told_of(roaster, "slot", slot.pk)
    first = roaster.get(f"{API}of/slot/{slot.pk}/?limit=1").json()
    assert [row["id"] for row in first["results"]] == [rows[0]["id"]]
    assert roaster.get(first["next"]).json()["results"][0]["id"] == rows[1]["id"]
    some = told_of(roaster, "slot", slot.pk, "?parameter=brew_temperature")
    assert {row["id"] for row in some} <= {row["id"] for row in rows}
    answer = roaster.get(f"{API}of/slot/{slot.pk}/?parameter=colour")
    assert answer.status_code == 400
    assert roaster.get(f"{API}of/slot/{slot.pk}/?person=1").status_code == 400


def test_nothing_of_people_or_of_what_was_refused(placed: Bar, api_as: ApiAs) -> None:
    roaster, barista = api_as(placed.cast.head_roaster), placed.cast.barista
    assert roaster.get(f"{API}of/person/{barista.pk}/").status_code == 404
    of_people = Entry.objects.filter(table_name="people_user").latest("pk")
    assert roaster.get(f"{API}{of_people.pk}/").status_code == 404
    assert roaster.get(API).status_code == 403
    assert told_of(api_as(placed.cast.owner), "person", barista.pk)


def test_an_owner_here_and_a_roaster_there(placed: Bar, api_as: ApiAs) -> None:
    here, there = placed.slots[0], placed.slots[-1]
    person = _somebody(placed, (Role.OWNER, placed.cast.site.pk), (Role.HEAD_ROASTER, None))
    client = api_as(person)
    assert any(row["request_id"] for row in told_of(client, "slot", here.pk))
    assert not any(row["request_id"] for row in told_of(client, "slot", there.pk))


def test_of_their_own_sites_alone(placed: Bar, api_as: ApiAs) -> None:
    client = api_as(_somebody(placed, (Role.HEAD_ROASTER, placed.cast.other_site.pk)))
    assert client.get(f"{API}of/slot/{placed.slots[0].pk}/").status_code == 404
    refused = Entry.objects.filter(operation="refused").latest("pk")
    assert (refused.subject_type, refused.subject_id) == ("slot", placed.slots[0].pk)
    assert told_of(client, "slot", placed.slots[-1].pk)
    lead = api_as(placed.cast.shop_lead)
    assert lead.get(f"{API}of/slot/{placed.slots[0].pk}/").status_code == 403


def _somebody(bar: Bar, *roles: tuple[Role, int | None]) -> User:
    person = create_person(by=bar.cast.owner, email="upland@example.com", name="Upland person")
    for role, site in roles:
        assign_role(by=bar.cast.owner, person=person, role=role, site_id=site)
    return person
