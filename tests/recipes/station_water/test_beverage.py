"""Water for a beverage as a station's own shots say."""

from decimal import Decimal

import pytest

from recipes.publishing import run
from recipes.retention.learning import balance_of
from stations.equipment.models import Slot
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from tests.bar import Bar
from tests.cast import SignedIn
from tests.publishing import Publish

STEADY = ["50.0", "50.4", "49.8", "50.2", "50.1", "49.9", "50.3", "49.7"]


def pull(slot: Slot, bar: Bar, masses: list[str]) -> None:
    for mass in masses:
        shot = Weighed(Decimal("18.0"), Decimal(mass), Decimal(28))
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
