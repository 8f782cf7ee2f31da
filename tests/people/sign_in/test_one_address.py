"""People have one address: the one an owner entered last. The library could keep more of them."""

from allauth.account.models import EmailAddress
from django.core import mail
from django.test import Client

from people.persons.actions import change_person
from people.persons.invitations import invite
from tests.cast import PASSWORD, Cast

LOGIN, FORGOTTEN = "/account/login/", "/account/password/reset/"


def _address_changed(cast: Cast, client: Client) -> str:
    """The barista's new one, after links were sent to the old one."""
    old = cast.barista.email
    client.post(FORGOTTEN, {"email": old})
    invite(by=cast.owner, person=cast.barista, absolute=lambda path: f"http://testserver{path}")
    change_person(
        by=cast.owner, person=cast.barista, email="right@example.com", name="Barista", revision=1
    )
    mail.outbox.clear()
    return old


def test_the_old_one_signs_nobody_in(cast: Cast, client: Client) -> None:
    old = _address_changed(cast, client)
    client.post(LOGIN, {"login": old, "password": PASSWORD})
    assert "_auth_user_id" not in client.session
    client.post(LOGIN, {"login": "right@example.com", "password": PASSWORD})
    assert "_auth_user_id" in client.session


def test_no_link_is_sent_to_the_old_one(cast: Cast, client: Client) -> None:
    old = _address_changed(cast, client)
    client.post(FORGOTTEN, {"email": old})
    assert mail.outbox == []


def test_no_second_one_is_kept(cast: Cast, client: Client) -> None:
    _address_changed(cast, client)
    client.post(LOGIN, {"login": "right@example.com", "password": PASSWORD})
    assert not EmailAddress.objects.exists()


def test_a_link_sent_before_the_change_sets_no_password(cast: Cast, client: Client) -> None:
    link = invite(by=cast.owner, person=cast.barista, absolute=lambda path: path)
    change_person(
        by=cast.owner, person=cast.barista, email="right@example.com", name="Barista", revision=1
    )
    form = client.get(link, follow=True)
    assert form.redirect_chain == []
    both = {"password1": "a fine long phrase", "password2": "a fine long phrase"}
    client.post(link, both)
    cast.barista.refresh_from_db()
    assert cast.barista.check_password(PASSWORD)
