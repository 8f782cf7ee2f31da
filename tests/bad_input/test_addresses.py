"""Addresses with nonsense in them are answered as nonsense, never with a crash."""

from collections.abc import Iterator
from urllib.parse import quote, urlencode

import pytest
from django.urls import reverse

from tests.bad_input.addresses import LENIENT, NO_CHOICE, NO_DAY, NO_KEY, PAGES_ASKED, Asked
from tests.bad_input.asking import Answer, send
from tests.bad_input.described import operations
from tests.bad_input.known import known
from tests.bad_input.things import Things
from tests.bad_input.values import LONG, NUL, PAST_ALL_LIMITS, some
from tests.permissions.row import Row
from tests.permissions.rows import ENDPOINTS, PAGES, WIDE_ENDPOINTS, WIDE_PAGES

pytestmark = pytest.mark.django_db
NOBODYS = [str(2**63 - 1), str(2**63), "9" * 20, "9" * 400, PAST_ALL_LIMITS, "0"]


def get(things: Things, who: str, path: str, asked: dict[str, str] | str) -> Answer:
    """The answer to an address."""
    query = asked if isinstance(asked, str) else urlencode(asked)
    # One value stands for bytes that are no UTF-8, and must stay as it is.
    url = f"{path}?{query}".replace("%25FF", "%FF")
    return send(things.world, things.who(who), "GET", url)


def get_as_any(things: Things, path: str, asked: dict[str, str]) -> Answer:
    """The answer to the owner, or where that is not for owners, to the head roaster."""
    answers = (get(things, who, path, asked) for who in ("owner", "head_roaster"))
    first = next(answers)
    return next(answers) if first.status == 403 else first


def asked_pages(asked: Asked, who: str, things: Things) -> Iterator[str]:
    """What one page does not refuse."""
    address = things.world.address(asked.thing, "own")
    rest = {name[1:]: str(value) for name, value in address.items() if name.startswith("?")}
    kwargs = {name: value for name, value in address.items() if not name.startswith("?")}
    path = reverse(asked.name, kwargs=kwargs)
    for name, values in asked.bad.items():
        for value in some(values, sum(map(ord, name)), 5):
            answer = get(things, who, path, {**rest, **asked.rest, name: value})
            if not answer.refused:
                yield f"{path} {name}={value[:40]!r}: {answer.status}"


@pytest.mark.parametrize("who", PAGES_ASKED)
def test_pages(things: Things, who: str) -> None:
    slips = [slip for asked in PAGES_ASKED[who] for slip in asked_pages(asked, who, things)]
    assert not slips, "\n" + "\n".join(slips)


def test_pages_that_fill_in_what_they_can(things: Things) -> None:
    address = {"recipes:publish_plan": {"pk": things.newest.pk}}
    slips = []
    for name, bad in LENIENT.items():
        path = reverse(name, kwargs=address.get(name))
        for parameter, values in bad.items():
            for value in values:
                answer = get(
                    things, "head_roaster", path,
                    {"which": "every", "where": "all", parameter: value},
                )  # fmt: skip
                if answer.status != (400 if NUL in value else 200):
                    slips.append(f"{path} {parameter}={value[:40]!r}: {answer.status}")
    assert not slips, "\n" + "\n".join(slips)


def _bad_for(schema: dict[str, object]) -> list[str]:
    if schema.get("type") == "integer":
        return NO_KEY
    if schema.get("format") == "date":
        return NO_DAY
    return NO_CHOICE if "enum" in schema or "$ref" in schema else [NUL, LONG]


def test_endpoints(things: Things) -> None:
    slips = []
    for path, method, operation in operations():
        parameters = [each for each in operation.get("parameters", []) if each["in"] == "query"]
        url = path.format(**known(things.world, path)) if method == "GET" else ""
        needed = {each["name"]: "1" for each in parameters if each.get("required")}
        for parameter in parameters if url else []:
            for value in some(_bad_for(parameter["schema"]), len(path), 4):
                answer = get_as_any(things, url, {**needed, parameter["name"]: value})
                if not answer.refused or parameter["name"] not in " ".join(answer.fields):
                    slips.append(f"{url} {parameter['name']}={value[:40]!r}: "
                                 f"{answer.status} {answer.detail[:100]}")  # fmt: skip
    assert not slips, "\n" + "\n".join(slips)


def _unknown(row: Row, things: Things, place: int) -> Iterator[str]:
    """The row's address with numbers that nothing has."""
    address = things.world.address(row.thing, "own")
    name = next((name for name in ("pk", "subject_id") if name in address), None)
    if name is None:
        return
    route = reverse(row.name, kwargs={**address, name: 7_777_777})
    for number in some(NOBODYS, place, 2):
        yield route.replace("7777777", number)


@pytest.mark.parametrize("rows", [PAGES, WIDE_PAGES, ENDPOINTS, WIDE_ENDPOINTS])
def test_numbers_that_nothing_has(things: Things, rows: list[Row]) -> None:
    slips = []
    for place, row in enumerate(rows):
        who = "head_roaster" if "H" in row.may else "owner" if "O" in row.may else "technician"
        json = "_api:" in row.name
        kind = "application/json" if json else "application/x-www-form-urlencoded"
        sent = "{}" if json and row.method != "GET" else ""
        headers = {"If-Match": '"seen-1-1"'}
        for url in _unknown(row, things, place):
            answer = send(things.world, things.who(who), row.method, url, sent=sent, kind=kind,
                          headers=headers)  # fmt: skip
            if answer.status != 404:
                slips.append(f"{row.method} {url[:60]}: {answer.status}")
    assert not slips, "\n" + "\n".join(slips)


@pytest.mark.parametrize("code", ["nowhere", "a" * 300, "UPPER", "x--y"])
def test_codes_that_nothing_has(things: Things, code: str) -> None:
    for path in (f"/at/{code}/", f"/api/v1/sites/{code}/", f"/api/v1/sites/{quote(code)}/"):
        assert send(things.world, things.cast.owner, "GET", path).status == 404


@pytest.mark.parametrize("kind", ["slot", "nothing", "a b", "%00", "%FF", "x" * 300])
def test_subjects_that_nothing_is(things: Things, kind: str) -> None:
    for number in NOBODYS:
        path = f"/history/of/{quote(kind, safe='%')}/{number}/"
        assert send(things.world, things.cast.owner, "GET", path).status == 404
