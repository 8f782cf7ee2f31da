"""Nobody is told of sites their roles don't cover: not by name, not by height or pressure.

Every page, fragment, endpoint and export that answers somebody of one site is read whole, those
of what reaches both sites included.
"""

import re

import pytest
from django.http import HttpResponseBase, StreamingHttpResponse
from django.urls import reverse

from people.persons.models import User
from recipes.publishing.scope import Where
from tests.permissions.row import Row
from tests.permissions.rows import ENDPOINTS, PAGES, WIDE_ENDPOINTS, WIDE_PAGES
from tests.permissions.world import World

pytestmark = pytest.mark.django_db

OTHER = re.compile(r"upland|1,?650", re.IGNORECASE)  # its name, code and altitude [m]
WIDE = {"publication": "wide_publication", "permit": "wide_permit"}  # they reach both sites
ROWS = [row for row in (*PAGES, *ENDPOINTS, *WIDE_PAGES, *WIDE_ENDPOINTS) if row.method == "GET"]


def body_of(answer: HttpResponseBase) -> str:
    """All of it, however it was sent."""
    if isinstance(answer, StreamingHttpResponse):
        return b"".join(answer).decode(errors="replace")
    return bytes(getattr(answer, "content", b"")).decode(errors="replace")


def told(row: Row, thing: str, world: World, person: User) -> str:
    """What of the other site stands in the answer, with some of what is around it."""
    address = world.address(thing, "own")
    query = "&".join(f"{key[1:]}={value}" for key, value in address.items() if key[0] == "?")
    kwargs = {key: value for key, value in address.items() if key[0] != "?"}
    url = reverse(row.name, kwargs=kwargs)
    answer = world.browser_of(person).get(f"{url}?{query}" if query else url)
    body = body_of(answer)
    found = OTHER.search(body)
    return f"{url}: {body[max(0, found.start() - 60) : found.end() + 60]!r}" if found else ""


@pytest.mark.parametrize("letter", ["B", "L", "T", "H"])
def test_nothing_of_another_site_is_told(letter: str, world: World) -> None:
    person = world.people[letter]
    leaks = [
        told(row, thing, world, person)
        for row in ROWS
        for thing in {row.thing, WIDE.get(row.thing, row.thing)}
    ]
    assert not [leak for leak in leaks if leak]


def test_whoever_covers_both_is_told(world: World) -> None:
    """So that the test above sees something where there is something to see."""
    row = Row("GET", "recipes:publication", "B", "publication")
    assert told(row, "wide_publication", world, world.everywhere["B"])


def test_a_plan_of_one_site_is_of_that_site(world: World) -> None:
    """As JSON, for a head roaster of one bar who asks for all there is."""
    body = {"version": world.bar.version.pk, "where": Where.ALL, "every_slot": True}
    body["site"] = world.bar.cast.site.pk
    browser = world.browser_of(world.people["H"])
    answer = browser.post(
        reverse("recipes_api:publication_plan"), body, content_type="application/json"
    )
    assert answer.status_code == 200, answer.content
    assert not OTHER.search(answer.content.decode())
