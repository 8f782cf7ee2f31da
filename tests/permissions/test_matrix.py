"""Nobody reads or acts outside the sites and verbs of their role, at any address (invariant 10)."""

import uuid
from collections.abc import Iterator

import pytest
from django.db import transaction
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from people.persons.models import User
from tests.permissions.elsewhere import ELSEWHERE, ELSEWHERE_PREFIXES
from tests.permissions.row import Row
from tests.permissions.rows import (
    ENDPOINTS,
    PAGES,
    WIDE_ENDPOINTS,
    WIDE_PAGES,
)
from tests.permissions.world import World

pytestmark = pytest.mark.django_db  # each test in a savepoint of the world's transaction
REFUSED = {403, 404}
NOT_ANSWERED = {401, 403, 404, 405}


def names(patterns: list[URLPattern | URLResolver], space: str = "") -> Iterator[str]:
    """Every named address of the program."""
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            inner = f"{space}{pattern.namespace}:" if pattern.namespace else space
            yield from names(pattern.url_patterns, inner)
        else:
            yield f"{space}{pattern.name}"


def test_every_address_has_a_row() -> None:
    rows = PAGES + WIDE_PAGES + ENDPOINTS + WIDE_ENDPOINTS
    known = {row.name for row in rows} | set(ELSEWHERE)
    found = {
        name
        for name in names(get_resolver().url_patterns)
        if not name.startswith(tuple(ELSEWHERE_PREFIXES))
    }
    assert found - known == set(), "addresses without a row in tests/permissions/rows.py"
    assert known - found == set(), "rows without an address"


def ask(row: Row, world: World, where: str, person: User | None) -> int:
    """The status somebody gets, with whatever it changed undone."""
    address = world.address(row.thing, where)
    query = {key[1:]: value for key, value in address.items() if key.startswith("?")}
    kwargs = {key: value for key, value in address.items() if not key.startswith("?")}
    url = reverse(row.name, kwargs=kwargs)
    if query:
        url += "?" + "&".join(f"{key}={value}" for key, value in query.items())
    browser = world.browser_of(person)
    headers = {"Idempotency-Key": uuid.uuid4().hex, "If-Match": '"seen"'}
    kind = "application/json" if "_api:" in row.name else "application/x-www-form-urlencoded"
    sent = "{}" if kind.endswith("json") and row.method != "GET" else ""
    with transaction.atomic():
        answer = browser.generic(row.method, url, sent, content_type=kind, headers=headers)
        transaction.set_rollback(True)
    return answer.status_code


def wrong(row: Row, world: World) -> Iterator[str]:
    """What is not as the table says, in words."""
    for letter, person in world.people.items():
        allowed = bool(letter) and letter in row.may
        yield from _wrong_status(row, letter, ask(row, world, "own", person), allowed=allowed)
        if row.sited:
            other = ask(row, world, "other", person)
            if other != 404 and (allowed or other != 403):
                yield f"{row.id} as {letter} at another site: {other} instead of 404"
    yield from wrong_for_strangers(row, world)


def wrong_for_all_sites(row: Row, world: World) -> Iterator[str]:
    """The same for what concerns all sites: a role at one of them is not enough."""
    for letter, person in world.everywhere.items():
        allowed = bool(letter) and letter in row.may
        yield from _wrong_status(row, letter, ask(row, world, "own", person), allowed=allowed)
    for letter, person in world.people.items():
        status = ask(row, world, "own", person)
        yield from _wrong_status(row, f"{letter} of one site", status, allowed=False)
    yield from wrong_for_strangers(row, world)


def _wrong_status(row: Row, who: str, status: int, *, allowed: bool) -> Iterator[str]:
    words = f"{row.id} as {who or 'somebody without a role'}: {status}"
    if allowed and (status in NOT_ANSWERED or status >= 500):
        yield f"{words}, though allowed"
    if not allowed and status not in REFUSED:
        yield f"{words}, though not allowed"


def wrong_for_strangers(row: Row, world: World) -> Iterator[str]:
    """Nobody who isn't signed in gets anywhere."""
    status = ask(row, world, "own", None)
    if status != (401 if "_api:" in row.name else 302):
        yield f"{row.id} signed out: {status}"


@pytest.mark.parametrize("rows", [PAGES[0::2], PAGES[1::2], ENDPOINTS[0::2], ENDPOINTS[1::2]])
def test_matrix(rows: list[Row], world: World) -> None:
    slips = [sentence for row in rows for sentence in wrong(row, world)]
    assert not slips, "\n" + "\n".join(slips)


@pytest.mark.parametrize("rows", [WIDE_PAGES, WIDE_ENDPOINTS])
def test_matrix_of_what_concerns_all_sites(rows: list[Row], world: World) -> None:
    slips = [sentence for row in rows for sentence in wrong_for_all_sites(row, world)]
    assert not slips, "\n" + "\n".join(slips)
