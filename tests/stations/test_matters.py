"""What people hear of stations: who, in which words, where it leads, until when, and again."""

from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import TestCase
from pytest_django.fixtures import Settings

from people.notices.finding import find_matters
from people.notices.hearing import matters_of
from people.notices.models import Matter, Notice
from people.notices.telling import tell
from recipes.publishing import run
from stations.charts.actions import freeze_baseline
from stations.charts.lineage import contents_of
from stations.equipment.models import Slot
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from stations.slots.read_backs import read_back
from tests.bar import Bar, bar
from tests.cast import Cast, SignedIn
from tests.publishing import Publish, send
from tests.recipes.calibrating import accept, measure
from tests.stations.conftest import FOUND, place

__all__ = ["bar", "send"]

STEADY = ["50.0", "50.4", "49.8", "50.2", "50.1", "49.9", "50.3", "49.7"]
LEADS = ["head_roaster", "second_roaster", "shop_lead"]  # of what lies at the Harbour
Told = Callable[[str], list[str]]


@pytest.fixture
def told(cast: Cast, signed_in: SignedIn) -> Told:
    """Who of the cast hears of a kind now; each may open what it leads to."""

    def names(kind: str) -> list[str]:
        find_matters()
        found = []
        for name, person in cast.everyone().items():
            for matter in matters_of(person, 100):
                if matter.kind == kind:
                    assert signed_in(person).get(matter.url).status_code == 200, name
                    found.append(name)
        return sorted(found)

    return names


def of(kind: str) -> Matter:
    """The one there is."""
    return Matter.objects.open().get(kind=kind)


def test_a_slot_that_differs_until_it_matches_and_again(bar: Bar, cast: Cast, told: Told) -> None:
    slot = Slot.objects.with_equipment().get(pk=bar.slots[0].pk)
    seen = place(slot, cast.head_roaster).pk

    def read(water: str) -> None:
        found = {**FOUND, "water_volume": water}
        read_back(slot=slot, found=found, by=cast.shop_lead, seen_placement=seen)

    read("281")
    assert told("differs") == LEADS
    first = of("differs")
    assert first.title == "Harbour: slot 1 of Front, station 1 differs"
    assert first.url == f"/slots/{slot.pk}/"
    read("282")
    assert told("differs") == LEADS
    assert of("differs").pk == first.pk  # it lasts
    read("280")
    assert told("differs") == []
    read("281")
    assert told("differs") == LEADS
    assert of("differs").pk != first.pk


def test_whoever_found_that_it_differs_is_sent_nothing_about_it(
    bar: Bar, cast: Cast, signed_in: SignedIn, settings: Settings
) -> None:
    settings.PUBLIC_URL = "https://ledger.example.com"
    slot = Slot.objects.with_equipment().get(pk=bar.slots[0].pk)
    seen = place(slot, cast.head_roaster).pk
    sent = {**FOUND, "water_volume": "281", "seen_placement": seen}
    assert signed_in(cast.shop_lead).post(f"/slots/{slot.pk}/read-back/", sent).status_code == 302
    find_matters()
    tell()
    noted = Notice.objects.filter(matter=of("differs"), person=cast.shop_lead)
    assert noted.get().seen


def test_what_is_to_load_until_it_was_read_back(bar: Bar, cast: Cast, told: Told) -> None:
    slots = list(Slot.objects.with_equipment().filter(station=bar.stations[0]))
    placed = [place(slot, cast.head_roaster) for slot in slots]
    assert told("to_load") == sorted(LEADS * len(placed))  # signed apart: each is a matter
    found = Matter.objects.open().filter(kind="to_load")
    assert {each.title for each in found} == {"Harbour: 1 slot to load"}
    assert {each.words for each in found} == {
        f"{placed[0].settings.title}. Key in and read back, or see why the gateway did not."
    }
    assert {each.url for each in found} == {f"/sites/{cast.site.pk}/to-key/"}
    for slot, placement in zip(slots, placed, strict=True):
        read_back(slot=slot, found=FOUND, by=cast.shop_lead, seen_placement=placement.pk)
    assert told("to_load") == []


def test_cups_that_drift_until_they_are_back_and_again(
    bar: Bar, cast: Cast, told: Told, send: Publish
) -> None:
    run.run(send().pk)
    slot = Slot.objects.with_equipment().get(pk=bar.slots[0].pk)

    def pull(*masses: str) -> None:
        for mass in masses:
            shot = Weighed(Decimal("18.0"), Decimal(mass), Decimal(28))
            with TestCase.captureOnCommitCallbacks(execute=True):
                log_shot(slot=slot, shot=shot, by=cast.barista)

    pull(*STEADY)
    with TestCase.captureOnCommitCallbacks(execute=True):
        freeze_baseline(
            station=slot.station, content_digest=next(iter(contents_of(slot.station))),
            code="beverage_mass", reason="New", by=cast.head_roaster,
        )  # fmt: skip
    assert told("drift") == []
    pull("53.0")
    assert told("drift") == LEADS
    first = of("drift")
    assert first.title.startswith("Harbour: ")
    assert first.words.startswith("The chart signals: ")
    assert first.url.startswith(f"/stations/{slot.station.pk}/charts/")
    pull(*["49.9", "50.2"] * 8)
    assert told("drift") == []
    pull("53.0")
    assert told("drift") == LEADS
    assert of("drift").pk != first.pk


def test_a_calibration_that_is_due_until_it_was_repeated(bar: Bar, cast: Cast, told: Told) -> None:
    station = bar.stations[0]
    accept(measure(station, "4.0", cast.technician, days=30), cast.head_roaster)
    assert told("calibration_due") == []
    accept(measure(station, "4.0", cast.technician, days=10), cast.head_roaster)
    assert told("calibration_due") == ["head_roaster", "second_roaster", "technician"]
    first = of("calibration_due")
    assert first.title.startswith("Harbour: Front, station 1: flow meter due ")
    assert first.url == f"/stations/{station.pk}/#calibrations"
    accept(measure(station, "4.0", cast.technician, days=180), cast.head_roaster)
    assert told("calibration_due") == []
