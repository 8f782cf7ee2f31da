"""The page of one's own tokens."""

from people.tokens.models import ApiToken
from tests.cast import Cast, SignedIn

URL = "/account/tokens/"
NEW = {"name": "Counter tablet", "scopes": ["read", "act"], "days": "30"}


def test_the_secret_is_shown_once_and_not_cached(cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.barista)
    answer = browser.post(URL, NEW)
    token = ApiToken.objects.get()
    assert f"{token.hint}" in answer.content.decode()
    assert "Your new token" in answer.content.decode()
    assert "no-store" in answer["Cache-Control"]
    again = browser.get(URL).content.decode()
    assert "Your new token" not in again
    assert "Counter tablet" in again


def test_bad_values_are_told(cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.barista)
    for wrong in ({}, {**NEW, "days": "0"}, {**NEW, "days": "1e3"}, {**NEW, "scopes": ["fly"]}):
        assert browser.post(URL, wrong).status_code == 400
    both = browser.post(URL, {**NEW, "scopes": ["gateway", "read"]})
    assert both.status_code == 400
    assert "gateway by itself" in both.content.decode()
    assert not ApiToken.objects.exists()


def test_others_tokens_are_not_there(cast: Cast, signed_in: SignedIn) -> None:
    signed_in(cast.barista).post(URL, NEW)
    token = ApiToken.objects.get()
    other = signed_in(cast.shop_lead)
    assert "Counter tablet" not in other.get(URL).content.decode()
    assert other.post(f"{URL}{token.pk}/revoke/").status_code == 404
    assert signed_in(cast.barista).post(f"{URL}{token.pk}/revoke/").status_code == 302
    token.refresh_from_db()
    assert token.state == "revoked"
