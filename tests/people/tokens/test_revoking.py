"""Somebody else's token: ended by an owner of all sites, in person, once, with the reason."""

from functools import partial

import pytest

from audit.capture.models import Entry
from audit.errors import Invalid, NotFound, NotPermitted
from people.persons.actions import assign_role
from people.persons.models import User
from people.persons.verbs import Role
from people.tokens.actions import make_token, revoke_all, revoke_token
from people.tokens.models import ApiToken, Scope
from tests.calling import act
from tests.cast import ApiAs, Cast, InPerson, SignedIn
from tests.races import at_once
from tests.services import rounds

GONE = "Its till is gone"


def token_of(person: User) -> ApiToken:
    return make_token(by=person, name="Till", scopes=[Scope.READ], days=30)[0]


def test_on_their_page_with_the_reason(cast: Cast, signed_in: SignedIn) -> None:
    token, owner = token_of(cast.barista), signed_in(cast.owner)
    page, url = f"/people/{cast.barista.pk}/", f"/people/{cast.barista.pk}/revoke-token/"
    assert f'action="{url}"' in owner.get(page).content.decode()
    for wrong in ({}, {"token": token.pk}, {"token": token.pk, "reason": " "}, {"reason": GONE}):
        assert owner.post(url, wrong).status_code == 400
    assert owner.post(url, {"token": token.pk, "reason": GONE}).status_code == 302
    token.refresh_from_db()
    assert token.state == "revoked"
    entry = Entry.objects.get(action="token.revoked")
    assert (entry.actor, entry.reason, entry.subject) == ("Owner", GONE, "Till")
    assert entry.changes["revoked_at"][0] is None
    assert f'action="{url}"' not in owner.get(page).content.decode()
    assert owner.post(url, {"token": token.pk, "reason": GONE}).status_code == 404


def test_only_one_of_the_person_whose_page_it_is(cast: Cast, signed_in: SignedIn) -> None:
    token = token_of(cast.shop_lead)
    sent = {"token": token.pk, "reason": GONE}
    assert (
        signed_in(cast.owner).post(f"/people/{cast.barista.pk}/revoke-token/", sent).status_code
        == 404
    )
    token.refresh_from_db()
    assert token.revoked_at is None


def test_not_before_confirming(cast: Cast, signed_in: SignedIn) -> None:
    token, owner = token_of(cast.barista), signed_in(cast.owner)
    stale = owner.session
    stale["account_authentication_methods"] = []
    stale.save()
    url = f"/people/{cast.barista.pk}/revoke-token/"
    asked = owner.post(url, {"token": token.pk, "reason": GONE})["Location"]
    assert asked.startswith("/account/reauthenticate/")
    token.refresh_from_db()
    assert token.revoked_at is None


def test_over_the_api_by_who_may(cast: Cast, api_in_person: InPerson, api_as: ApiAs) -> None:
    """One's own and, as an owner of all sites, anybody's; for others it is not there."""
    of_one_site = User.objects.create(email="one-site@example.com", name="Owner of one site")
    assign_role(by=None, person=of_one_site, role=Role.OWNER, site_id=cast.site.pk)
    token = token_of(cast.barista)
    path, sent = f"tokens/{token.pk}/revoke/", {"reason": GONE}
    for person, status in (
        (cast.head_roaster, 404),
        (cast.shop_lead, 404),
        (cast.technician, 404),
        (of_one_site, 403),
    ):
        assert act(api_in_person(person), path, sent).status_code == status, person
    assert act(api_as(cast.owner), path, sent).status_code == 403  # a token manages nobody
    assert act(api_in_person(cast.owner), path).status_code == 400  # without a reason
    token.refresh_from_db()
    assert token.revoked_at is None
    answer = act(api_in_person(cast.owner), path, sent)
    assert (answer.status_code, answer.json()["state"]) == (200, "revoked")
    own = token_of(cast.barista)
    assert act(api_in_person(cast.barista), f"tokens/{own.pk}/revoke/").status_code == 200


def test_the_action_asks_by_itself(cast: Cast) -> None:
    token = token_of(cast.barista)
    with pytest.raises(NotPermitted):
        revoke_token(by=cast.head_roaster, token=token, reason=GONE)
    with pytest.raises(Invalid, match="reason"):
        revoke_token(by=cast.owner, token=token)
    with pytest.raises(Invalid, match="reason"):
        revoke_token(by=cast.barista, token=token, reason="x" * 201)


@pytest.mark.django_db(transaction=True)
def test_of_all_who_end_it_at_once_one_does(cast: Cast) -> None:
    """Owner, its person, and a password that is set anew: one entry, and the others are told."""
    for number in range(1, rounds(40, 5) + 1):
        token = token_of(cast.barista)
        told = at_once(
            [
                partial(revoke_token, by=cast.owner, token=token, reason=GONE),
                partial(revoke_token, by=cast.barista, token=token),
                partial(revoke_all, person=cast.barista, reason="The password was set anew."),
            ]
        )
        assert all(t is None or isinstance(t, NotFound) for t in told), told
        token.refresh_from_db()
        assert (token.state, token.revision) == ("revoked", 2)
        changed = Entry.objects.filter(action="token.revoked", operation="changed")
        assert changed.count() == number
