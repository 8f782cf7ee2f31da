"""Tapped three times, sent again, sent after the session ended: one intention has one effect."""

import re
from functools import partial
from threading import Event

import pytest
from django.contrib.sessions.models import Session
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import OperationalError
from django.test import Client
from django.test.client import RequestFactory
from django.urls import reverse

from people.persons.models import User
from people.tokens.models import ApiToken, Scope
from stations.shots.models import CheckShot
from tests.cast import Cast, SignedIn
from tests.races import at_once
from tests.services import rounds
from tests.stations.conftest import Bar, bar, place
from tests.tooling.listing import ROOT
from web import once
from web.models import IdempotencyKey
from web.queued import ANSWER, WHOSE
from web.text import NEVER_REPEATED

__all__ = ["bar"]

SHOT = {"dose_mass": "18.1", "beverage_mass": "38.5", "shot_time": "27"}
KEY = re.compile(r'name="sent_once" value="([^"]+)"')


def _form(browser: Client, address: str) -> dict[str, str]:
    """The hidden key of the page's form."""
    found = KEY.search(browser.get(address).content.decode())
    assert found, address
    return {once.FIELD: found[1]}


@pytest.fixture
def form(bar: Bar, cast: Cast) -> str:
    place(bar.slot, cast.head_roaster)
    return reverse("stations:shot_log", args=[bar.slot.pk])


# Sent again, these two change nothing more; nor does the last, which mail programs send as well.
KEYED_OR_HARMLESS = (
    "sent_once", "sign_out_url", "tablet_leave_url", "Hear no more of this",
)  # fmt: skip


def test_every_form_of_ours_carries_its_key() -> None:
    bare = []
    for path in (ROOT / "templates").rglob("*.html"):
        for form in re.findall(r"<form[^>]*>.*?</form>", path.read_text(), re.S):
            sends = 'method="post"' in form.partition(">")[0]
            elsewhere = path.relative_to(ROOT / "templates").parts[0] in ("account", "mfa")
            if sends and not elsewhere and not any(word in form for word in KEYED_OR_HARMLESS):
                bare.append(path)
    assert bare == []


@pytest.mark.django_db(transaction=True)
def test_three_taps_at_once_make_one_shot(form: str, cast: Cast, signed_in: SignedIn) -> None:
    browsers = [signed_in(cast.barista) for _ in range(3)]
    for number in range(1, rounds(60, 4) + 1):
        sent = SHOT | _form(browsers[0], form)
        answers = at_once([partial(browser.post, form, sent) for browser in browsers])
        places = {getattr(answer, "headers", {}).get("Location", answer) for answer in answers}
        assert places == {CheckShot.objects.latest("pk").get_absolute_url()}
        assert CheckShot.objects.count() == number


def test_sent_again_leads_where_the_first_led(form: str, cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.barista)
    sent = SHOT | _form(browser, form)
    first, second = browser.post(form, sent), browser.post(form, sent, follow=True)
    assert second.redirect_chain == [(first["Location"], 302)]
    assert once.SEEN_TWICE in second.content.decode()
    assert CheckShot.objects.count() == 1


def test_another_number_or_another_page_is_another_shot(
    form: str, cast: Cast, signed_in: SignedIn
) -> None:
    browser = signed_in(cast.barista)
    sent = SHOT | _form(browser, form)
    browser.post(form, sent)
    browser.post(form, sent | {"shot_time": "28"})
    browser.post(form, SHOT | _form(browser, form))
    assert CheckShot.objects.count() == 3


def test_a_key_is_worth_nothing_in_other_hands(form: str, cast: Cast, signed_in: SignedIn) -> None:
    sent = SHOT | _form(signed_in(cast.barista), form)
    signed_in(cast.barista).post(form, sent)
    answer = signed_in(cast.shop_lead).post(form, sent)
    assert answer["Location"] == CheckShot.objects.latest("pk").get_absolute_url()
    assert CheckShot.objects.count() == 2
    assert once.person_of("somebody.7:made:up") is None


def test_what_was_refused_may_be_sent_again(form: str, cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.barista)
    sent = SHOT | _form(browser, form)
    assert browser.post(form, sent | {"dose_mass": ""}).status_code == 400
    assert not IdempotencyKey.objects.exists()
    assert browser.post(form, sent).status_code == 302


@pytest.mark.django_db(transaction=True)
def test_a_crash_before_the_commit_leaves_nothing_and_the_key_free(
    form: str, cast: Cast, signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    browser = signed_in(cast.barista)
    browser.raise_request_exception = False
    sent = SHOT | _form(browser, form)

    def crash(*_: object) -> None:
        raise OperationalError("the server went away")

    with monkeypatch.context() as patch:
        patch.setattr(once, "_keep", crash)
        assert browser.post(form, sent).status_code == 500
    assert not CheckShot.objects.exists()
    assert browser.post(form, sent).status_code == 302


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(("queued", "told"), [(False, 409), (True, 503)])
def test_who_waits_too_long_is_told(
    form: str,
    cast: Cast,
    signed_in: SignedIn,
    monkeypatch: pytest.MonkeyPatch,
    *,
    queued: bool,
    told: int,
) -> None:
    """The first is still at it, on another connection: nothing is done, and the page says so. To a
    device that sends by itself it is no refusal: it comes again."""
    headers = {WHOSE: str(cast.barista.pk)} if queued else {}
    monkeypatch.setattr(once, "WAIT", "50ms")
    browser = signed_in(cast.barista)
    sent = SHOT | _form(browser, form)
    inside, ends = Event(), Event()

    def slowly(*_: object) -> None:
        inside.set()
        assert ends.wait(30)

    def first() -> int:
        return int(browser.post(form, sent).status_code)

    def second() -> int:
        assert inside.wait(30)
        answer = signed_in(cast.barista).post(form, sent, headers=headers)
        ends.set()
        assert ANSWER not in answer.headers
        return int(answer.status_code)

    monkeypatch.setattr(once, "_keep", slowly)
    assert at_once([first, second]) == [302, told]
    assert CheckShot.objects.count() == 1


def test_what_a_page_repeats_holds_no_key_of_the_page(
    form: str, cast: Cast, signed_in: SignedIn
) -> None:
    assert once.FIELD in NEVER_REPEATED
    browser = signed_in(cast.barista)
    key = _form(browser, form)
    page = browser.post(form, SHOT | key | {"note": "a\x00b"}).content.decode()
    assert "38.5" in page
    assert key[once.FIELD] not in page


def test_a_token_made_twice_is_made_once(cast: Cast, signed_in: SignedIn) -> None:
    browser, address = signed_in(cast.owner), reverse("people:tokens")
    sent = {"name": "Till", "scopes": [Scope.READ], "days": "9"} | _form(browser, address)
    assert browser.post(address, sent).status_code == 200
    assert browser.post(address, sent)["Location"] == address
    assert ApiToken.objects.count() == 1


def test_a_file_counts_with_what_is_in_it(cast: Cast) -> None:
    def digest(content: bytes) -> str:
        file = SimpleUploadedFile("stations.csv", content)
        request = RequestFactory().post("/import/", {"file": file})
        told = once._digest(request, "key")
        sent = request.FILES["file"]
        assert not isinstance(sent, list)
        assert sent.read() == content, "it can be read again"
        return told

    assert digest(b"a,b") == digest(b"a,b") != digest(b"a,c")


# A session that ends.


def _ended(person: User, address: str, sent: dict[str, str], signed_in: SignedIn) -> Client:
    """A browser whose session ended while a form was filled, after sending it."""
    browser = signed_in(person)
    key = _form(browser, address)
    Session.objects.all().delete()
    answer = browser.post(address, sent | key)
    assert answer["Location"].startswith(reverse("account_login"))
    return browser


def test_the_filled_form_comes_back(form: str, cast: Cast, signed_in: SignedIn) -> None:
    browser = _ended(cast.barista, form, SHOT, signed_in)
    browser.force_login(cast.barista)
    answer = browser.get(form)
    page = answer.content.decode()
    assert "Nothing was sent yet" in page
    assert answer.context["form"]["beverage_mass"].value() == "38.5"
    assert not CheckShot.objects.exists()
    assert browser.post(form, SHOT | _form(browser, form)).status_code == 302
    assert "Nothing was sent yet" not in browser.get(form).content.decode()


def test_nobody_else_is_shown_it(form: str, cast: Cast, signed_in: SignedIn) -> None:
    browser = _ended(cast.barista, form, SHOT, signed_in)
    browser.force_login(cast.shop_lead)
    assert "38.5" not in browser.get(form).content.decode()
    browser.force_login(cast.barista)
    assert "38.5" not in browser.get(form).content.decode()


def test_behind_an_address_that_only_takes_what_is_sent(
    bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    browser = signed_in(cast.owner)
    person = reverse("people:edit", args=[cast.barista.pk])
    key = _form(browser, person)
    Session.objects.all().delete()
    sent = {"role": "technician", "reason": "Left us on Friday"} | key
    address = reverse("people:give_role", args=[cast.barista.pk])
    answer = browser.post(address, sent, headers={"Referer": f"http://testserver{person}"})
    assert answer["Location"].endswith(f"next={person}")
    browser.force_login(cast.owner)
    assert "Nothing was sent yet" in browser.get(person).content.decode()


def test_from_another_host_it_leads_home(form: str, cast: Cast, signed_in: SignedIn) -> None:
    address = reverse("people:give_role", args=[cast.barista.pk])
    answer = Client().post(address, {}, headers={"Referer": "https://elsewhere.example/x"})
    assert answer["Location"].endswith("next=/")


def test_a_stranger_leaves_nothing(form: str) -> None:
    before = Session.objects.count()
    stranger = Client()
    stranger.post(form, SHOT)
    stranger.post(form, SHOT | {once.FIELD: "00ff.1:1abc:forged"})
    assert Session.objects.count() == before
