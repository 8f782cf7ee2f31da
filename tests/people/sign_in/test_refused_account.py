"""Refusals under /account/ are written down like any other."""

from audit.capture.models import Entry
from people.tokens.actions import make_token
from people.tokens.models import ApiToken, Scope
from tests.cast import Cast, SignedIn


def test_a_refused_token_is_in_the_history(cast: Cast, signed_in: SignedIn) -> None:
    cast.barista.assignments.all().delete()
    answer = signed_in(cast.barista).post(
        "/account/tokens/", {"name": "x", "scopes": ["read"], "days": "1"}
    )
    assert answer.status_code == 403
    assert Entry.objects.filter(operation="refused", actor="Barista").count() == 1
    assert not ApiToken.objects.exists()


def test_a_token_made_on_the_page_is_named_so(cast: Cast, signed_in: SignedIn) -> None:
    make_token(by=cast.barista, name="mine", scopes=[Scope.READ], days=1)
    token = ApiToken.objects.get()
    signed_in(cast.barista).post(f"/account/tokens/{token.pk}/revoke/")
    entry = Entry.objects.get(table_name="people_apitoken", operation="changed")
    assert (entry.action, entry.actor, entry.channel) == ("token.revoked", "Barista", "page")
