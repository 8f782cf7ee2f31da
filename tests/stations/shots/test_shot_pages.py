"""Check shots on a phone: one tap to the form, the verdict at once, a recorded correction."""

import pytest
from django.urls import reverse

from stations.shots.models import CheckShot
from tests.cast import Cast, SignedIn
from tests.stations.conftest import Bar, place
from tests.stations.shots.test_shots import CUP

TYPED = {"dose_mass": "18.1", "beverage_mass": "38.5", "shot_time": "27"}


def test_from_the_bar_page_to_the_verdict(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    place(bar.slot, cast.head_roaster, cup=CUP)
    browser = signed_in(cast.barista)
    form = reverse("stations:shot_log", args=[bar.slot.pk])
    assert form in browser.get(reverse("stations:at", args=[bar.first.code])).content.decode()
    shown = browser.get(form).content.decode()
    assert "−0.2 / +0.2" in shown  # noqa: RUF001 - as pages print it
    answer = browser.post(form, TYPED, follow=True)
    page = answer.content.decode()
    assert answer.redirect_chain[0][1] == 302
    assert "Too high" in page
    assert "Within" in page
    shot = CheckShot.objects.get()
    assert shot.get_absolute_url() in browser.get(bar.slot.get_absolute_url()).content.decode()


def test_a_correction_from_its_page(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    place(bar.slot, cast.head_roaster, cup=CUP)
    browser = signed_in(cast.barista)
    browser.post(reverse("stations:shot_log", args=[bar.slot.pk]), TYPED)
    address = reverse("stations:shot_correct", args=[CheckShot.objects.get().pk])
    assert "38.5" in browser.get(address).content.decode()
    fixed = {**TYPED, "beverage_mass": "35.8", "seen_corrections": "0", "reason": "Typo"}
    assert browser.post(address, fixed).status_code == 302
    assert browser.post(address, fixed).status_code == 412
    assert "Typo" in browser.get(CheckShot.objects.get().get_absolute_url()).content.decode()


@pytest.mark.parametrize(
    ("field", "value"), [("dose_mass", ""), ("dose_mass", "18,1,0"), ("shot_time", "0:27")]
)
def test_a_slip_is_told_beside_its_box(
    bar: Bar, cast: Cast, signed_in: SignedIn, field: str, value: str
) -> None:
    place(bar.slot, cast.head_roaster)
    address = reverse("stations:shot_log", args=[bar.slot.pk])
    answer = signed_in(cast.barista).post(address, {**TYPED, field: value})
    assert answer.status_code == 400
    assert list(answer.context["form"].errors) == [field]


def test_decimals_behind_a_comma_are_decimals(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    place(bar.slot, cast.head_roaster)
    address = reverse("stations:shot_log", args=[bar.slot.pk])
    typed = {"dose_mass": "18,1", "beverage_mass": "38,5", "shot_time": "27"}
    assert signed_in(cast.barista).post(address, typed).status_code == 302
    shot = CheckShot.objects.get()
    assert (str(shot.dose_mass), str(shot.beverage_mass)) == ("18.1", "38.5")


def test_an_empty_slot_says_so(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    address = reverse("stations:shot_log", args=[bar.slot.pk])
    browser = signed_in(cast.barista)
    assert "Nothing is in force" in browser.get(address).content.decode()
    assert browser.post(address, TYPED).status_code == 409


def test_outsiders_find_no_shot(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    place(bar.slot, cast.head_roaster)
    signed_in(cast.barista).post(reverse("stations:shot_log", args=[bar.slot.pk]), TYPED)
    shot = CheckShot.objects.get()
    other = signed_in(cast.other_lead)
    assert other.get(shot.get_absolute_url()).status_code == 404
    assert other.get(reverse("stations:shot_correct", args=[shot.pk])).status_code == 404
    assert signed_in(cast.technician).get(shot.get_absolute_url()).status_code == 200
