"""The owner's pages on people."""

from collections.abc import Callable

import pytest
from django.core import mail
from django.test import Client
from pytest_django import DjangoCaptureOnCommitCallbacks

from audit.capture.models import Entry
from people.persons.models import Assignment, User
from tests.cast import Cast, SignedIn


@pytest.fixture
def browser(cast: Cast, signed_in: SignedIn) -> Client:
    """The owner's."""
    return signed_in(cast.owner)


def _text(answer: object) -> str:
    return answer.content.decode()  # type: ignore[attr-defined,no-any-return]


def test_everybody_is_listed_with_roles_and_sites(browser: Client) -> None:
    page = _text(browser.get("/people/"))
    for word in ("barista@example.com", "Barista, Harbour", "Technician, all sites"):
        assert word in page


def test_adding_mails_a_link_that_sets_the_password_once(
    browser: Client,
    client: Client,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    new = {"name": "New", "email": "new@example.com"}
    with django_capture_on_commit_callbacks(execute=True):
        page = _text(browser.post("/people/add/", new, follow=True))
    [letter] = mail.outbox
    [link] = [word for word in letter.body.split() if word.startswith("http")]
    assert link in page
    assert link not in _text(browser.get(f"/people/{User.objects.get(name='New').pk}/"))

    def use(password: str) -> int:
        form = client.get(link, follow=True)
        target = form.redirect_chain[-1][0] if form.redirect_chain else link
        both = {"password1": password, "password2": password}
        return int(client.post(target, both).status_code)

    assert use("a fine long phrase") == 302
    person = User.objects.get(name="New")
    assert person.check_password("a fine long phrase")
    use("quite another phrase")
    person.refresh_from_db()
    assert person.check_password("a fine long phrase")
    entry = Entry.objects.get(action="person.password_set")
    assert (entry.actor, list(entry.changes)) == ("New", ["password", "password_set_at"])


def test_a_person_leads_to_what_they_did_and_what_was_done_about_them(
    cast: Cast, browser: Client
) -> None:
    page = browser.get(f"/people/{cast.barista.pk}/").content.decode()
    for address in (
        f"/history/?person={cast.barista.pk}",
        f"/history/of/person/{cast.barista.pk}/",
    ):
        assert f'<a href="{address}">' in page
        assert browser.get(address).status_code == 200


def test_bad_values_stand_beside_their_fields(browser: Client) -> None:
    answer = browser.post("/people/add/", {"name": "New", "email": "owner@example.com"})
    assert answer.status_code == 400
    assert "nobody here has yet" in _text(answer)
    assert browser.post("/people/add/", {}).status_code == 400


def test_an_edit_from_an_old_page_is_told_so(cast: Cast, browser: Client) -> None:
    url = f"/people/{cast.barista.pk}/"
    edit = {"name": "One", "email": "barista@example.com", "revision": "1"}
    assert browser.post(url, edit).status_code == 302
    answer = browser.post(url, {**edit, "name": "Two"})
    assert answer.status_code == 412
    assert User.objects.get(pk=cast.barista.pk).name == "One"
    assert "Name: <b>One</b>" in _text(answer)
    assert browser.post(url, {**edit, "name": "Two", "revision": "2"}).status_code == 302


def test_roles_are_given_and_taken(cast: Cast, browser: Client) -> None:
    url = f"/people/{cast.barista.pk}/"
    given = browser.post(f"{url}roles/", {"role": "shop_lead", "site": cast.other_site.pk})
    assert given.status_code == 302
    role = Assignment.objects.get(user=cast.barista, role="shop_lead")
    assert role.site_id == cast.other_site.pk
    twice = browser.post(f"{url}roles/", {"role": "shop_lead", "site": cast.other_site.pk})
    assert twice.status_code == 400
    wrong = browser.post(f"{url}roles/", {"role": "king", "site": "x"})
    assert wrong.status_code == 400
    assert browser.post(f"{url}roles/{role.pk}/take/").status_code == 302
    assert browser.post(f"{url}roles/{role.pk}/take/").status_code == 404


def test_the_last_owner_is_told_why_not(cast: Cast, browser: Client) -> None:
    own = Assignment.objects.get(user=cast.owner)
    answer = browser.post(f"/people/{cast.owner.pk}/roles/{own.pk}/take/")
    assert answer.status_code == 409
    assert "Make somebody else an owner first" in _text(answer)
    assert Entry.objects.filter(operation="refused", action="role.removed").exists()


def test_sign_in_is_ended_and_allowed_again(cast: Cast, browser: Client) -> None:
    url = f"/people/{cast.barista.pk}/"
    assert browser.post(f"{url}end-sign-in/", {"revision": "1"}).status_code == 302
    assert "Sign-in ended" in _text(browser.get(url))
    assert browser.post(f"{url}end-sign-in/", {"revision": "1"}).status_code == 412
    assert browser.post(f"{url}end-sign-in/", {}).status_code == 400
    assert browser.post(f"{url}invitation/").status_code == 409
    assert browser.post(f"{url}allow-sign-in/", {"revision": "2"}).status_code == 302


PAGES: list[Callable[[Cast], str]] = [
    lambda cast: "/people/",
    lambda cast: "/people/add/",
    lambda cast: f"/people/{cast.owner.pk}/",
    lambda cast: "/policy/",
]


@pytest.mark.parametrize("who", ["head_roaster", "shop_lead", "barista", "technician"])
def test_nobody_else_sees_them(cast: Cast, signed_in: SignedIn, who: str) -> None:
    browser = signed_in(cast.everyone()[who])
    for page in PAGES:
        assert browser.get(page(cast)).status_code == 403


def test_strangers_are_sent_to_sign_in(cast: Cast, client: Client) -> None:
    for page in PAGES:
        answer = client.get(page(cast))
        assert answer.status_code == 302
        assert answer["Location"].startswith("/account/login/?next=")


def test_a_role_is_given_for_all_sites_only_when_that_is_chosen(
    cast: Cast, browser: Client
) -> None:
    url = f"/people/{cast.barista.pk}/roles/"
    assert browser.post(url, {"role": "technician", "site": ""}).status_code == 400
    assert browser.post(url, {"role": "", "site": "all"}).status_code == 400
    assert browser.post(url, {"role": "technician", "site": "all"}).status_code == 302
    assert Assignment.objects.get(user=cast.barista, role="technician").site_id is None
