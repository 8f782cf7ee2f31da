"""What an address's query says of the history is never passed over, on pages as on endpoints."""

import pytest
from django.test import Client

from tests.cast import Cast, SignedIn

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner(cast: Cast, signed_in: SignedIn) -> Client:
    return signed_in(cast.owner)


PAGES = ("/history/", "/history/export/csv/", "/history/export/json-lines/", "/history/of/site/{}/")


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("query", ["colour=red", "action=x&colour=", "since=&since=2026-08-01"])
def test_pages_of_the_history(owner: Client, cast: Cast, page: str, query: str) -> None:
    answer = owner.get(f"{page.format(cast.site.pk)}?{query}")
    assert answer.status_code == 400
    assert ("colour" if "colour" in query else "since") in answer.content.decode()


def test_a_form_sends_its_empty_fields_too(owner: Client, cast: Cast) -> None:
    fields = "site=&about=&subject=&person=&action=&parameter=&since=&until="
    assert owner.get(f"/history/?{fields}").status_code == 200
    assert owner.get(f"/history/of/site/{cast.site.pk}/?parameter=").status_code == 200


def test_what_is_taken_away_fits_the_filter_of_any_page(owner: Client) -> None:
    page = owner.get("/history/?since=2026-08-01&before=99").content.decode()
    assert 'href="/history/export/csv/?since=2026-08-01"' in page


def test_what_acts_takes_no_query(cast: Cast, signed_in: SignedIn) -> None:
    answer = signed_in(cast.owner).post("/api/v1/people/?name=Somebody", {})
    assert answer.status_code == 400
    assert answer.json()["problems"][0]["allowed"] == "no query at this address"


def test_who_may_not_ask_is_told_so_first(cast: Cast, signed_in: SignedIn) -> None:
    assert signed_in(cast.barista).get("/api/v1/history/?colour=red").status_code == 403
