"""What the history notes of every request: channel, request id, address."""

import pytest
from django.test import Client, RequestFactory
from pytest_django.fixtures import Settings

from audit.capture.models import Entry
from tests.cast import Cast, InPerson, SignedIn
from web.middleware import client_address, request_id_of

NEW = {"name": "New", "email": "new@example.com"}


def test_a_page_and_a_program_are_told_apart(
    cast: Cast, signed_in: SignedIn, api_in_person: InPerson
) -> None:
    signed_in(cast.owner).post("/people/add/", NEW, headers={"X-Request-ID": "page-request-1"})
    other = {"name": "Other", "email": "other@example.com"}
    key = {"Idempotency-Key": "add-person", "X-Request-ID": "api-request-1"}
    api_in_person(cast.owner).post("/api/v1/people/", other, headers=key)
    by_page, by_api = Entry.objects.filter(action="person.added", actor="Owner").order_by("id")
    assert (by_page.channel, by_page.request_id) == ("page", "page-request-1")
    assert (by_api.channel, by_api.request_id) == ("api", "api-request-1")
    assert by_page.client_addr == by_api.client_addr == "127.0.0.1"


def test_a_refused_page_is_in_the_history(cast: Cast, signed_in: SignedIn) -> None:
    assert signed_in(cast.barista).get("/people/").status_code == 403
    entry = Entry.objects.get(operation="refused")
    assert (entry.actor, entry.channel, entry.action) == ("Barista", "page", "page.refused")


@pytest.mark.parametrize("given", ["short", "a b c d e f", "x" * 65, "new\nline-in-it", "<script>"])
def test_a_request_id_that_could_do_harm_is_replaced(given: str) -> None:
    request = RequestFactory().get("/", headers={"X-Request-ID": given})
    assert len(request_id_of(request)) == 32


def test_every_answer_carries_its_request_id(db: None, client: Client) -> None:
    answer = client.get("/account/login/", headers={"X-Request-ID": "my-own-id-1"})
    assert answer["X-Request-ID"] == "my-own-id-1"
    assert len(client.get("/nothing/")["X-Request-ID"]) == 32


@pytest.mark.parametrize(
    ("proxies", "forwarded", "address"),
    [
        (0, "203.0.113.9", "192.0.2.1"),
        (1, "203.0.113.9", "203.0.113.9"),
        (1, "10.9.9.9, 203.0.113.9", "203.0.113.9"),
        (2, "10.9.9.9, 203.0.113.9, 192.0.2.7", "203.0.113.9"),
        (2, "203.0.113.9", "192.0.2.1"),
        (1, "not an address", None),
        (1, "fe80::1%eth0", "fe80::1"),  # the database's inet knows no zones
    ],
)
def test_only_our_own_proxies_are_believed(
    settings: Settings, proxies: int, forwarded: str, address: str | None
) -> None:
    settings.TRUSTED_PROXIES = proxies
    request = RequestFactory().get(
        "/", headers={"X-Forwarded-For": forwarded}, REMOTE_ADDR="192.0.2.1"
    )
    assert client_address(request) == address


def test_a_part_asked_for_after_the_session_ended_reloads_the_page(
    cast: Cast, client: Client, signed_in: SignedIn
) -> None:
    part = {"HX-Request": "true"}
    answer = client.get("/history/intact/1/", headers=part)
    assert (answer.status_code, answer["HX-Refresh"], answer.content) == (200, "true", b"")
    assert client.get("/history/intact/1/").status_code == 302
    assert "HX-Refresh" not in signed_in(cast.owner).get("/history/intact/1/", headers=part)
