"""Pages travel in a tenth of their bytes; what shows a secret, or has a tag, as it is."""

import gzip

import pytest
from django.test import Client

from tests.cast import ApiAs, Cast, SignedIn

ASKING = {"Accept-Encoding": "gzip, deflate, br"}


def test_a_page_is_compressed_for_who_asks(cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.owner)
    plain = browser.get("/people/")
    packed = browser.get("/people/", headers=ASKING)
    assert not plain.has_header("Content-Encoding")
    assert packed["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in packed["Vary"]
    assert len(packed.content) * 3 < len(plain.content)
    assert b"Shop lead" in gzip.decompress(packed.content)


def test_the_size_of_the_same_page_is_blurred(cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.owner)
    sizes = {len(browser.get("/people/", headers=ASKING).content) for _ in range(12)}
    assert len(sizes) > 3


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/account/login/", "/account/password/change/"])
def test_ones_own_account_is_left_as_it_is(path: str, cast: Cast, signed_in: SignedIn) -> None:
    for browser in (Client(), signed_in(cast.owner)):
        assert not browser.get(path, headers=ASKING).has_header("Content-Encoding")


def test_what_an_edit_is_held_against_keeps_its_strong_tag(cast: Cast, api_as: ApiAs) -> None:
    answer = api_as(cast.owner).get(f"/api/v1/sites/{cast.site.code}/", headers=ASKING)
    assert answer["ETag"].startswith('"')
    assert not answer.has_header("Content-Encoding")


def test_an_answer_to_something_sent_is_left_as_it_is(cast: Cast, signed_in: SignedIn) -> None:
    answer = signed_in(cast.owner).post("/people/new/", {}, headers=ASKING)
    assert not answer.has_header("Content-Encoding")
