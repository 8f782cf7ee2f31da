"""Water for a beverage as a station's own shots say."""

from decimal import Decimal

import pytest
from django.utils import timezone

from audit.capture.context import recorded
from people.persons.actions import PERSON_ADDED
from recipes.publishing import run
from recipes.retention.learning import balance_of
from recipes.variants.models import VariantValue
from recipes.versions.models import FormulaValue
from stations.equipment.models import Slot
from stations.equipment.replaced import Part, Replacement
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from tests.bar import DOUBLE, Bar, approved, draft, vary
from tests.cast import SignedIn
from tests.publishing import Publish

STEADY = ["50.0", "50.4", "49.8", "50.2", "50.1", "49.9", "50.3", "49.7"]


def pull(slot: Slot, bar: Bar, masses: list[str], dose: str = "18.0") -> None:
    for mass in masses:
        shot = Weighed(Decimal(dose), Decimal(mass), Decimal(28))
        log_shot(slot=slot, shot=shot, by=bar.cast.head_roaster)


@pytest.fixture
def slot(bar: Bar, send: Publish) -> Slot:
    """A slot under the published version, ended by water volume."""
    run.run(send().pk)
    found: Slot = bar.slots[0]
    return found


def test_before_five_shots_common_practice_stands_in(slot: Slot) -> None:
    told = balance_of(slot.station, Decimal(18), Decimal(36))
    assert (told.learnt, told.ratio[1]) == (False, Decimal("1.00"))
    # (36 + 1.0 x 18) g / 0.9982 g/mL = 54.1 mL, by hand.
    assert told.water == Decimal("54.1")


def test_it_learns_and_sets_a_spilt_cup_aside(bar: Bar, slot: Slot) -> None:
    pull(slot, bar, [*STEADY, "12.0"])
    told = balance_of(slot.station, Decimal(18), Decimal(50))
    assert (told.learnt, told.used, told.set_aside) == (True, 8, 1)
    assert told.low < 50 < told.high
    # What gave 50 g again gives 50 g: the 70 mL set for these shots, within the mean's spread.
    assert float(told.water) == pytest.approx(70, abs=0.3)


def test_the_page(bar: Bar, slot: Slot, signed_in: SignedIn) -> None:
    path = f"/stations/{slot.station_id}/beverage/"
    page = signed_in(bar.cast.barista).get(path).content.decode()
    assert "common practice" in page
    assert signed_in(bar.cast.barista).get(f"{path}?dose=x&beverage=36").status_code == 400
    assert signed_in(bar.cast.other_lead).get(path).status_code == 404


def with_basket(bar: Bar, send: Publish, basket: str, dose: str = "18.0") -> None:
    """The recipe's next version, from that basket, in force everywhere."""
    made = draft(bar.cast, {**DOUBLE, "dose_mass": (dose, "1", "1")}, bar.version.recipe)
    FormulaValue.objects.create(version=made, code="basket", text=basket)
    run.run(send(approved(bar.cast, made)).pk)


def test_it_carries_over_from_every_version_of_like_dose_and_basket(
    bar: Bar, slot: Slot, send: Publish, signed_in: SignedIn
) -> None:
    """What names no basket counts for each; what is known to be another's counts for none."""
    pull(slot, bar, STEADY)
    with_basket(bar, send, "Ridged")
    pull(slot, bar, STEADY[:4])
    for basket, used in (("", 12), ("ridged ", 12), ("Stepped", 8)):
        told = balance_of(slot.station, Decimal(18), Decimal(50), basket)
        assert (told.learnt, told.used, told.apart) == (True, used, 12 - used), basket
    path = f"/stations/{slot.station_id}/beverage/?dose=18&beverage=50&basket=Ridged"
    words = signed_in(bar.cast.barista).get(path).content.decode()
    assert "Carries over from every version and coffee: 12 shots" in words


def test_what_is_learnt_from_is_counted_however_much_of_another_dose_came_since(
    bar: Bar, slot: Slot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("recipes.retention.learning.NEWEST", 6)
    pull(slot, bar, STEADY)
    pull(slot, bar, STEADY, dose="9.0")
    told = balance_of(slot.station, Decimal(18), Decimal(50))
    assert (told.learnt, told.used, told.alike, told.apart) == (True, 6, 6, 6)


def test_the_basket_of_a_variant_is_the_one_that_was_brewed_from(
    bar: Bar, send: Publish, signed_in: SignedIn
) -> None:
    whole = {**DOUBLE, "brew_pressure": ("9.0", "0.5", "0.5")}  # which the plain one can't set
    made = vary(draft(bar.cast, whole, bar.version.recipe), bar.plain)
    FormulaValue.objects.create(version=made, code="basket", text="Ridged")
    VariantValue.objects.create(version=made, machine_type=bar.plain, code="basket", text="Stepped")
    run.run(send(approved(bar.cast, made)).pk)
    slot = Slot.objects.filter(station=bar.stations[2]).first()
    assert slot
    pull(slot, bar, STEADY)
    for basket, used in (("Stepped", 8), ("Ridged", 0)):
        told = balance_of(slot.station, Decimal(18), Decimal(50), basket)
        assert (told.used, told.apart) == (used, 8 - used), basket
    page = signed_in(bar.cast.barista).get(f"/stations/{slot.station_id}/beverage/")
    assert "Stepped" in page.content.decode()


def test_another_dose_starts_anew_and_says_why(bar: Bar, slot: Slot, signed_in: SignedIn) -> None:
    pull(slot, bar, STEADY)
    told = balance_of(slot.station, Decimal(9), Decimal(20))
    assert (told.learnt, told.alike, told.apart) == (False, 0, 8)
    path = f"/stations/{slot.station_id}/beverage/?dose=9&beverage=20"
    words = signed_in(bar.cast.barista).get(path).content.decode()
    assert "Starts anew: 0 shots of" in words
    assert "Set apart: 8 of another dose, which say little of this one" in words


def test_what_an_earlier_flow_meter_counted_says_nothing(bar: Bar, slot: Slot) -> None:
    """Its pulses over the slope of now are no water that ever passed."""
    pull(slot, bar, STEADY)
    technician = bar.cast.technician
    with recorded(by=technician, action=PERSON_ADDED):
        Replacement.objects.create(
            part=Part.FLOW_METER, site=bar.cast.site, station=slot.station, reason="Stuck",
            at=timezone.now(), by=technician,
        )  # fmt: skip
    told = balance_of(slot.station, Decimal(18), Decimal(50))
    assert (told.learnt, told.used, told.alike) == (False, 0, 0)
