"""Guessed PINs: bounded for person, tablet and site; counted by the clock over a day."""

import datetime

import pytest
from django.contrib.auth.hashers import check_password
from django.test import Client
from pytest_django import Settings

from audit.capture.models import Entry
from audit.errors import UNSHOWN
from people.pins.actions import set_pin
from people.pins.common import easily_guessed
from people.pins.hashing import fits
from people.pins.models import Pin
from people.tablets import tries
from people.tablets.models import PinTry
from people.tablets.tries import FREE_EVERYWHERE, FREE_PERSON, FREE_SITE, FREE_TABLET, waits
from tests.cast import Cast
from tests.people.tablets.bench import PINS, a_tablet, taken_over, whose, with_pin

pytestmark = pytest.mark.django_db


def test_wrong_pins_wait_and_the_right_one_too_until_then(cast: Cast) -> None:
    tablet, person = a_tablet(cast), with_pin(cast)
    for n in range(FREE_PERSON):
        assert taken_over(tablet, person, f"{n}999") == 400
    page = tablet.post(f"/tablet/people/{person.pk}/", {"pin": PINS["barista"]})
    assert page.status_code == 409
    assert "wait 1 minute" in page.content.decode()
    assert whose(tablet) is None
    reasons = [e.reason for e in Entry.objects.filter(action="sign_in.refused").order_by("id")]
    assert reasons == ["A wrong PIN was given."] * FREE_PERSON + ["A PIN was tried too often."]
    entry = Entry.objects.filter(action="sign_in.refused").latest("id")
    assert (entry.subject_id, entry.site_id) == (person.pk, cast.site.pk)
    PinTry.objects.update(at=datetime.datetime.now(datetime.UTC) - datetime.timedelta(minutes=1))
    assert taken_over(tablet, person, PINS["barista"]) == 302


def test_nobody_is_locked_out_elsewhere(cast: Cast) -> None:
    tablet, other, person = a_tablet(cast, "Stolen"), a_tablet(cast, "Kept"), with_pin(cast)
    for n in range(FREE_PERSON + 1):
        taken_over(tablet, person, f"{n}999")
    assert taken_over(tablet, person, PINS["barista"]) == 409
    assert taken_over(other, person, PINS["barista"]) == 302


def test_a_right_pin_takes_no_wrong_one_back(cast: Cast) -> None:
    """Otherwise a colleague has tries between any two takings-over."""
    tablet, person = a_tablet(cast), with_pin(cast)
    for n in range(FREE_PERSON - 1):
        taken_over(tablet, person, f"{n}999")
    assert taken_over(tablet, person, PINS["barista"]) == 302
    tablet.post("/tablet/leave/")
    assert taken_over(tablet, person, "1999") == 400
    assert taken_over(tablet, person, PINS["barista"]) == 409


def most_in_a_day(free: int) -> int:
    """Wrong PINs that the bound lets pass in 24 hours, by whoever tries as soon as it opens."""
    now, count = datetime.timedelta(), 0
    while now < tries.DAY:
        count += 1
        now += waits(count, free)
    return count


def test_the_chance_of_a_day() -> None:
    """Stated in docs/threat-model.md: of PINs that are chosen evenly among those that may be."""
    allowed = sum(not easily_guessed(f"{n:04}") for n in range(10_000))
    free = (FREE_PERSON, FREE_TABLET, FREE_SITE, FREE_EVERYWHERE)
    person, tablet, site, everywhere = most = [most_in_a_day(n) for n in free]
    assert (person, tablet, site, everywhere, allowed) == (33, 58, 128, 68, 9_142)
    assert [round(100 * n / allowed, 2) for n in most] == [0.36, 0.63, 1.4, 0.74]
    assert person < FREE_EVERYWHERE, "one tablet could shut a person out of the others"


def test_one_person_is_not_tried_from_bar_to_bar(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who holds tablets of many sites has no more tries at whoever works at all of them."""
    monkeypatch.setattr(tries, "FREE_EVERYWHERE", 3)
    person = with_pin(cast, "head_roaster")
    bars = [a_tablet(cast), a_tablet(cast, by=cast.other_lead, site=cast.other_site)]
    for n, tablet in enumerate((*bars, bars[0])):
        assert taken_over(tablet, person, f"{n}999") == 400
    assert [taken_over(tablet, person, PINS["head_roaster"]) for tablet in bars] == [409, 409]
    assert taken_over(bars[1], with_pin(cast, "other_lead"), PINS["other_lead"]) == 302


def test_the_bounds_of_tablet_and_site(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tries, "FREE_TABLET", 3)
    tablet, other = a_tablet(cast), a_tablet(cast, "Other")
    barista, lead = with_pin(cast), with_pin(cast, "shop_lead")
    for person in (barista, lead, barista):
        assert taken_over(tablet, person, "1999") == 400
    assert taken_over(tablet, lead, PINS["shop_lead"]) == 409
    assert taken_over(other, lead, "1999") == 400
    monkeypatch.setattr(tries, "FREE_SITE", 4)
    assert taken_over(other, lead, PINS["shop_lead"]) == 409


@pytest.mark.parametrize(
    "digits",
    ["1234", "4321", "7890", "0000", "1212", "1122", "123123", "1987", "2024", "2580", "24121987"],
)
def test_common_pins_are_refused(cast: Cast, digits: str, client: Client) -> None:
    client.force_login(cast.barista)
    page = client.post("/account/pin/", {"pin": digits, "pin_again": digits})
    assert page.status_code == 400
    assert digits not in page.content.decode()
    assert not Pin.objects.exists()


@pytest.mark.parametrize("digits", ["123", "123456789", "12a4", "１２３４"])  # noqa: RUF001
def test_what_is_no_pin(cast: Cast, digits: str, client: Client) -> None:
    client.force_login(cast.barista)
    assert client.post("/account/pin/", {"pin": digits, "pin_again": digits}).status_code == 400


def test_setting_one_is_confirmed_and_is_in_the_history_without_it(
    cast: Cast, client: Client
) -> None:
    client.force_login(cast.barista)
    assert client.post("/account/pin/", {"pin": "7304", "pin_again": "7305"}).status_code == 400
    assert client.post("/account/pin/", {"pin": "7304", "pin_again": "7304"}).status_code == 302
    kept = Pin.objects.get(user=cast.barista)
    assert "7304" not in kept.secret
    set_pin(by=cast.barista, digits="8350")
    entry = Entry.objects.filter(action="pin.set").latest("id")
    assert entry.changes["secret"] == [UNSHOWN, UNSHOWN]
    # Not in numbers and moments of entries: four digits stand there by chance.
    said = ("actor", "reason", "subject", "parameter", "changes")
    assert "7304" not in str(list(Entry.objects.values(*said)))
    assert kept.secret not in str(list(Entry.objects.values()))
    stale = client.session
    stale["account_authentication_methods"] = []
    stale.save()
    answer = client.post("/account/pin/", {"pin": "7304", "pin_again": "7304"})
    assert answer["Location"].startswith("/account/reauthenticate/")


def test_a_pin_row_copied_to_anothers_name_fits_nothing(cast: Cast) -> None:
    tablet = a_tablet(cast)
    barista, lead = with_pin(cast), with_pin(cast, "shop_lead")
    Pin.objects.filter(user=lead).update(secret=Pin.objects.get(user=barista).secret)
    assert taken_over(tablet, lead, PINS["barista"]) == 400


def test_the_table_of_pins_alone_tells_none(cast: Cast, settings: Settings) -> None:
    """Whoever has the rows and not SECRET_KEY can try all ten thousand, and none fits."""
    person = with_pin(cast)
    kept = Pin.objects.get(user=person).secret
    assert fits(person.pk, PINS["barista"], kept)
    settings.SECRET_KEY = "another key than the program's own, however it was come by"
    assert not fits(person.pk, PINS["barista"], kept)
    assert not check_password(PINS["barista"], kept)
