"""A change by session needs the page's own token; a bearer token needs none."""

import pytest
from django.http.response import HttpResponseBase
from django.test import Client
from rest_framework.authentication import SessionAuthentication

from people.persons.models import User
from tests.addresses import endpoint_of, every_address
from tests.cast import ApiAs, Cast

NEW = {"name": "New", "email": "new@example.com"}
KEY = {"Idempotency-Key": "add-person"}


@pytest.fixture
def browser(cast: Cast) -> Client:
    """The owner's browser, held to CSRF as a real one is."""
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.owner)
    return client


def test_a_page_posted_from_elsewhere_is_refused(browser: Client) -> None:
    answer = browser.post("/people/add/", NEW)
    assert answer.status_code == 403
    assert not User.objects.filter(email=NEW["email"]).exists()


def test_no_page_goes_without() -> None:
    """But for the one by which a mail program stops a kind of mail, whose address is the proof.

    Endpoints are exempt by the library, and hold sessions to it by themselves.
    """
    exempt = {each.name for each in every_address() if getattr(each.view, "csrf_exempt", False)}
    endpoints = [each for each in every_address() if endpoint_of(each)]
    assert exempt - {each.name for each in endpoints} == {"people:notices_stop"}
    for endpoint in filter(None, map(endpoint_of, endpoints)):
        by_session = [
            way for way in endpoint.authentication_classes if issubclass(way, SessionAuthentication)
        ]
        assert all(way.enforce_csrf is SessionAuthentication.enforce_csrf for way in by_session)


def test_the_pages_own_form_is_taken(browser: Client) -> None:
    browser.get("/people/add/")
    token = browser.cookies["csrftoken"].value
    answer = browser.post("/people/add/", {**NEW, "csrfmiddlewaretoken": token})
    assert answer.status_code == 302


def test_the_api_with_a_session_needs_it_too(browser: Client) -> None:

    def post(headers: dict[str, str]) -> HttpResponseBase:
        url = "/api/v1/people/"
        return browser.post(url, NEW, content_type="application/json", headers=headers)

    answer = post(KEY)
    assert answer.status_code == 403
    assert answer["Content-Type"] == "application/problem+json"
    browser.get("/people/add/")
    with_token = {**KEY, "X-CSRFToken": browser.cookies["csrftoken"].value}
    assert post(with_token).status_code == 201


def test_a_bearer_token_stands_for_itself(cast: Cast, api_as: ApiAs) -> None:
    client = api_as(cast.head_roaster)
    client.handler.enforce_csrf_checks = True
    new = {"name": "House", "rest_from": 7, "rest_to": 30}
    assert client.post("/api/v1/coffees/", new, headers=KEY).status_code == 201
