"""Every list of the API takes the same: how many rows, from where, sorted how, which fields."""

import json
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import resolve, reverse
from drf_spectacular.generators import SchemaGenerator

from tests.permissions.row import Row
from tests.permissions.rows import ENDPOINTS, WIDE_ENDPOINTS
from tests.permissions.world import World
from web.paging import KeysetPagination

pytestmark = pytest.mark.django_db
IN_EVERY_LIST = {"limit", "cursor", "sort", "fields"}
# Lists of the history stand below web/ and have their own keys: `before` and `after` an entry.
OWN_KEYS = "/api/v1/history/"


def _url(world: World, row: Row) -> str:
    address = world.address(row.thing, "own")
    return reverse(row.name, kwargs={k: v for k, v in address.items() if not k.startswith("?")})


def _is_list(world: World, row: Row) -> bool:
    view = getattr(resolve(_url(world, row)).func, "cls", None)
    return getattr(view, "pagination_class", None) is KeysetPagination


def _lists(world: World) -> list[Row]:
    asked = [row for row in ENDPOINTS + WIDE_ENDPOINTS if row.method == "GET"]
    found = [row for row in asked if _is_list(world, row)]
    assert len(found) > 35
    return found


def _get(world: World, row: Row, **query: str) -> tuple[int, dict[str, Any]]:
    person = next(world.everywhere[each] for each in row.may if each in world.everywhere)
    answer = world.browser_of(person).get(_url(world, row), query)
    return answer.status_code, json.loads(answer.content)


def test_oldest_first_is_newest_first_turned_round(world: World) -> None:
    slips, several = [], 0
    for row in _lists(world):
        status, newest = _get(world, row, sort="-id", limit="500")
        _, plain = _get(world, row, limit="500")
        other, oldest = _get(world, row, sort="id", limit="500")
        several += len(plain["results"]) > 1
        turned = oldest["results"][::-1]
        if (status, other) != (200, 200) or not newest["results"] == plain["results"] == turned:
            slips.append(row.id)
    assert not slips
    assert several > 10


def test_rows_hold_the_fields_that_were_asked_for_alone(world: World) -> None:
    slips, filled = [], 0
    for row in _lists(world):
        whole = _get(world, row)[1]["results"]
        if whole:
            filled += 1
            first, *_, last = whole[0]
            status, told = _get(world, row, fields=f"{last},{first}")
            if status != 200 or told["results"] != [
                {first: each[first], last: each[last]} for each in whole
            ]:
                slips.append(row.id)
    assert not slips
    assert filled > 25


@pytest.mark.parametrize("query", [{"sort": "name"}, {"fields": "id,colour"}, {"fields": "id,"}])
def test_what_no_list_has_is_refused_with_what_there_is(
    world: World, query: dict[str, str]
) -> None:
    [name] = query
    for row in _lists(world):
        status, told = _get(world, row, **query)
        [problem] = told["problems"]
        assert (status, problem["field"], problem["value"]) == (400, name, query[name]), row.id
        assert problem["allowed"], row.id


def test_the_next_page_keeps_the_order_and_the_fields(world: World) -> None:
    person = world.everywhere["O"]
    url, seen = reverse("stations_api:slots") + "?sort=id&fields=number,id&limit=3", []
    while url:
        page = json.loads(world.browser_of(person).get(url).content)
        assert all(set(each) == {"number", "id"} for each in page["results"])
        seen += [each["id"] for each in page["results"]]
        url = page["next"]
    assert len(seen) > 6
    assert seen == sorted(set(seen))


def test_fewer_fields_never_cost_more_questions(world: World) -> None:
    for row in _lists(world):
        with CaptureQueriesContext(connection) as whole:
            rows = _get(world, row)[1]["results"]
        if rows:
            with CaptureQueriesContext(connection) as few:
                _get(world, row, fields=next(iter(rows[0])))
            assert len(few) <= len(whole), row.id


def test_the_description_says_the_same_of_every_list() -> None:
    described = SchemaGenerator().get_schema(  # type: ignore[no-untyped-call]
        request=None, public=True
    )
    lists = 0
    for path, operations in described["paths"].items():
        taken = operations.get("get", {}).get("parameters", [])
        names = {each["name"] for each in taken if each["in"] == "query"}
        if names & IN_EVERY_LIST and not path.startswith(OWN_KEYS):
            lists += 1
            assert names >= IN_EVERY_LIST, path
    assert lists > 35
