"""A draft captured from a good shot."""

from decimal import Decimal

import pytest
from django.urls import reverse

from audit.capture.models import Entry
from audit.errors import NotPermitted, Refused
from recipes.publishing import run
from recipes.versions.dial_in import draft_from_shot
from recipes.versions.models import Version
from stations.shots.actions import correct_shot, log_shot
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot
from stations.slots.by_hand import set_by_hand
from tests.bar import Bar
from tests.calling import act
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish
from tests.recipes.permits.test_permits import permit

GOOD = Weighed(Decimal("18.3"), Decimal("40.2"), Decimal("29.5"))


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The bar with its recipe in force."""
    run.run(send().pk)
    return bar


def pour(bar: Bar, shot: Weighed = GOOD) -> CheckShot:
    return log_shot(slot=bar.slots[0], shot=shot, by=bar.cast.barista)


def test_it_aims_at_the_shot_and_keeps_the_rest(placed: Bar) -> None:
    draft = draft_from_shot(by=placed.cast.head_roaster, shot=pour(placed))
    formula, before = draft.stated, placed.version.stated
    assert formula["dose_mass"].target == Decimal("18.3")
    assert formula["beverage_mass"].target == Decimal("40.2")
    assert formula["shot_time"].target == Decimal("29.5")
    assert formula["shot_time"].below == before["shot_time"].below
    assert formula["brew_temperature"] == before["brew_temperature"]
    assert (draft.state, draft.based_on) == (Version.State.DRAFT, placed.version)
    assert "check shot" in draft.note
    entry = Entry.objects.filter(action="version.drafted").latest("pk")
    assert entry.actor_id == placed.cast.head_roaster.pk


def test_what_a_permit_changed_comes_along(placed: Bar) -> None:
    permit([placed.slots[0]], placed.cast.head_roaster)
    shot = pour(placed)
    assert shot.placement.basis == "permit"
    draft = draft_from_shot(by=placed.cast.head_roaster, shot=shot)
    temperature = draft.stated["brew_temperature"]
    assert (temperature.target, temperature.below) == (Decimal("91.5"), Decimal("0.5"))


def test_only_a_head_roaster_captures(placed: Bar) -> None:
    shot = pour(placed)
    for other in (placed.cast.shop_lead, placed.cast.barista, placed.cast.owner):
        with pytest.raises(NotPermitted):
            draft_from_shot(by=other, shot=shot)


def test_a_shot_left_out_teaches_nothing(placed: Bar) -> None:
    shot = pour(placed)
    spilt = Weighed(GOOD.dose_mass, GOOD.beverage_mass, GOOD.shot_time, left_out=True)
    correct_shot(shot=shot, seen_corrections=0, to=spilt, reason="Spilt", by=placed.cast.barista)
    with pytest.raises(Refused, match="left out"):
        draft_from_shot(by=placed.cast.head_roaster, shot=CheckShot.objects.with_place().get())


def test_without_a_signed_recipe_nobody_knows_what_was_set(bar: Bar) -> None:
    set_by_hand(slot=bar.slots[0], values={"water_volume": "280"}, by=bar.cast.shop_lead)
    with pytest.raises(Refused, match="No signed recipe"):
        draft_from_shot(by=bar.cast.head_roaster, shot=pour(bar))


def test_from_the_shots_page_to_the_draft(placed: Bar, signed_in: SignedIn) -> None:
    shot = pour(placed)
    capture = reverse("recipes:draft_captured", args=[shot.pk])
    browser = signed_in(placed.cast.head_roaster)
    assert capture in browser.get(shot.get_absolute_url()).content.decode()
    answer = browser.post(capture, follow=True)
    assert answer.status_code == 200
    assert "40.2" in answer.content.decode()
    barista = signed_in(placed.cast.barista)
    assert capture not in barista.get(shot.get_absolute_url()).content.decode()
    assert barista.post(capture).status_code == 403


def test_the_api_does_the_same_once_for_a_key(placed: Bar, api_as: ApiAs) -> None:
    shot, client = pour(placed), api_as(placed.cast.head_roaster)
    first, again = (
        act(client, f"shots/{shot.pk}/draft/", {}, Idempotency_Key="capture-of-one-shot")
        for _ in range(2)
    )
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json()["id"] == again.json()["id"]
    assert first.json()["formula"]["dose_mass"]["target"] == "18.3"
