"""The shot card: the cup on top, what is in the grinder, and a shot that knows both."""

from dataclasses import replace
from decimal import Decimal

import pytest
from django.db import Error, transaction
from django.urls import reverse

from audit.errors import Invalid
from recipes.coffees.actions import add_coffee
from recipes.coffees.models import Coffee
from stations.shots.actions import correct_shot, log_shot
from stations.shots.models import CheckShot
from tests.cast import ApiAs, Cast, SignedIn
from tests.grinders import grinder_of, opened_at
from tests.stations.conftest import Bar, place
from tests.stations.shots.test_api_shots import SENT, post
from tests.stations.shots.test_shots import CUP, SHOT


@pytest.fixture
def ground(bar: Bar, cast: Cast) -> Bar:
    """A slot in force, a grinder at 12 with a bag open that is 12 days off roast."""
    place(bar.slot, cast.head_roaster, cup=CUP)
    coffee = add_coffee(by=cast.head_roaster, name="Morning blend", rest_from=7, rest_to=28)
    opened_at(grinder_of(bar.first, cast.owner), coffee, cast.head_roaster)
    return bar


def test_a_shot_knows_its_grinder_mark_lot_and_age(ground: Bar, cast: Cast) -> None:
    shot = log_shot(by=cast.barista, slot=ground.slot, shot=replace(SHOT, taste="sour"))
    assert shot.grinder
    assert (shot.grind_setting, shot.taste, shot.body) == (12, "sour", None)
    assert shot.days_off_roast == 12
    assert shot.grinder.events.count() == 1


def test_another_mark_goes_to_the_grinder_s_log(ground: Bar, cast: Cast) -> None:
    finer = replace(SHOT, grind_setting=Decimal("11.5"))
    shot = log_shot(by=cast.barista, slot=ground.slot, shot=finer)
    assert shot.grinder
    event = shot.grinder.events.latest("id")
    assert (event.setting, event.by, event.kind) == (Decimal("11.5"), cast.barista, "set")
    after = log_shot(by=cast.barista, slot=ground.slot, shot=SHOT)
    assert after.grind_setting == Decimal("11.5")


def test_without_a_grinder_there_is_no_mark(bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster, cup=CUP)
    with pytest.raises(Invalid, match="no grinder"):
        log_shot(by=cast.barista, slot=bar.slot, shot=replace(SHOT, grind_setting=Decimal(3)))
    other = grinder_of(bar.second, cast.owner)
    with pytest.raises(Invalid, match="serves this station"):
        log_shot(by=cast.barista, slot=bar.slot, shot=SHOT, grinder=other)


def test_mark_and_taste_are_corrected_like_the_rest(ground: Bar, cast: Cast) -> None:
    shot = log_shot(by=cast.barista, slot=ground.slot, shot=SHOT)
    right = replace(SHOT, grind_setting=Decimal(13), taste="bitter", body="heavy")
    fixed = correct_shot(by=cast.barista, shot=shot, seen_corrections=0, to=right, reason="Typo")
    fixed.refresh_from_db()
    assert (fixed.grind_setting, fixed.taste, fixed.body) == (13, "bitter", "heavy")
    for change in ({"taste": "sour"}, {"grind_setting": 2}, {"grinder": None}, {"opening": None}):
        with pytest.raises(Error), transaction.atomic():
            CheckShot.objects.update(**change)
        with pytest.raises(Error), transaction.atomic():
            CheckShot.objects.update(**change, corrections=2)


def test_the_card_shows_cup_lot_and_grind(ground: Bar, cast: Cast, signed_in: SignedIn) -> None:
    page = signed_in(cast.barista).get(reverse("stations:at", args=[ground.first.code]))
    shown = page.content.decode()
    assert page.context["card"].form["dose_mass"].value() == Decimal("18.0")
    for part in ("Morning blend R", "12 days off roast", "1 : 2.00", "lower numbers are finer"):
        assert part in shown
    others = signed_in(cast.technician).get(page.request["PATH_INFO"])
    assert others.context["card"] is None


def test_the_slot_last_checked_is_at_hand(ground: Bar, cast: Cast, signed_in: SignedIn) -> None:
    second = ground.first.slots.get(number=2)
    place(second, cast.head_roaster, cup=CUP)
    log_shot(by=cast.barista, slot=second, shot=SHOT)
    browser, address = signed_in(cast.barista), reverse("stations:at", args=[ground.first.code])
    assert browser.get(address).context["card"].holding.slot == second
    assert browser.get(address + "?slot=1").context["card"].holding.slot == ground.slot


def test_over_http_with_mark_and_taste(ground: Bar, cast: Cast, api_as: ApiAs) -> None:
    api, path = api_as(cast.barista), f"slots/{ground.slot.pk}/shots/"
    body = {**SENT, "grind_setting": "11", "taste": "balanced", "body": "thin"}
    made = post(api, path, body).json()
    assert (made["grind_setting"], made["taste"], made["body"]) == ("11", "balanced", "thin")
    assert (made["days_off_roast"], made["lot"][:13]) == (12, "Morning blend")
    typo = {**SENT, "dose_mass": "18", "reason": "Typo", "seen_corrections": 0}
    fixed = post(api, f"shots/{made['id']}/corrections/", typo).json()
    assert (fixed["dose_mass"], fixed["taste"], fixed["grind_setting"]) == ("18", "balanced", "11")
    assert post(api, path, {**SENT, "taste": "salty"}).status_code == 400
    assert post(api, path, {**SENT, "grinder": 999999}).status_code == 400


@pytest.mark.parametrize(
    ("age", "state", "said"),
    [(3, "resting", "Still resting"), (12, "ready", ""), (60, "past", "Past its window")],
)
def test_a_shot_of_a_lot_outside_its_window_says_so(
    age: int, state: str, said: str, ground: Bar, cast: Cast, signed_in: SignedIn, api_as: ApiAs
) -> None:
    """On the card before it is pulled, on its own page, in the slot's list and to programs."""
    served, coffee = ground.first.served_by.get(), Coffee.objects.get()
    if age != 12:
        opened_at(served.grinder, coffee, cast.head_roaster, age)
    shot = log_shot(by=cast.barista, slot=ground.slot, shot=SHOT)
    assert shot.lot_state == state
    browser = signed_in(cast.barista)
    for address in (
        reverse("stations:at", args=[ground.first.code]),
        shot.get_absolute_url(),
        reverse("stations:slot", args=[ground.slot.pk]),
    ):
        page = browser.get(address).content.decode()
        marks = [each for each in ("Still resting", "Past its window") if each in page]
        assert marks == ([said] if said else []), address
    rows = api_as(cast.barista).get(f"/api/v1/slots/{ground.slot.pk}/shots/").json()["results"]
    assert [row["lot_state"] for row in rows] == [state]
