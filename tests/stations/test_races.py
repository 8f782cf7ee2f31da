"""Two people at the same moment, each on a connection of their own: exactly one wins."""

from collections.abc import Callable, Sequence
from decimal import Decimal
from functools import partial
from typing import Any

import pytest

from audit.capture.models import Entry
from audit.errors import DomainError, Invalid, Refused, Stale
from stations.equipment.actions import add_slots, add_station, change_site
from stations.equipment.models import Site, Slot, Station
from stations.importing.actions import import_equipment
from stations.importing.file import NAMES
from stations.slots.by_hand import set_by_hand
from stations.slots.models import Placement, ReadBack
from stations.slots.read_backs import read_back
from tests.cast import Cast
from tests.races import at_once
from tests.services import rounds
from tests.stations.conftest import FOUND, Bar, place

ROUNDS = rounds(200, 20)
pytestmark = pytest.mark.django_db(transaction=True)


def split(outcomes: Sequence[Any]) -> tuple[list[Any], list[DomainError]]:
    """Who got through, and who was told no; anything else fails the test."""
    lost = [each for each in outcomes if isinstance(each, DomainError)]
    won = [each for each in outcomes if not isinstance(each, Exception)]
    assert len(lost) + len(won) == len(outcomes), outcomes
    return won, lost


def test_two_edits_of_one_site(cast: Cast) -> None:
    for number in range(ROUNDS):
        revision = Site.objects.get(pk=cast.site.pk).revision

        def edit(altitude: int, seen: int = revision) -> Site:
            return change_site(
                site=Site.objects.get(pk=cast.site.pk), revision=seen, name="Harbour",
                time_zone="Europe/Lisbon", altitude=Decimal(altitude), by=cast.owner,
            )  # fmt: skip

        attempts = [partial(edit, number * 2), partial(edit, number * 2 + 1)]
        won, lost = split(at_once(attempts))
        assert (len(won), [type(told) for told in lost]) == (1, [Stale])
        assert Site.objects.get(pk=cast.site.pk).altitude == won[0].altitude
    entries = Entry.objects.filter(action="site.changed", subject_id=cast.site.pk)
    assert entries.exclude(changes={}).count() == ROUNDS


def test_two_stations_with_one_number(bar: Bar, cast: Cast) -> None:
    for number in range(10, 10 + min(ROUNDS, 80)):

        def add(n: int = number) -> Station:
            return add_station(machine=bar.machine, number=n, slots=2, by=cast.owner)

        won, lost = split(at_once([add, add]))
        assert (len(won), [type(told) for told in lost]) == (1, [Invalid])
        assert won[0].slots.count() == 2


def test_slots_added_at_once_are_added_once(bar: Bar, cast: Cast) -> None:
    for total in range(3, 3 + min(ROUNDS, 29)):

        def add(n: int = total) -> list[Slot]:
            station = Station.objects.select_related("machine").get(pk=bar.first.pk)
            return add_slots(station=station, total=n, by=cast.owner)

        won, lost = split(at_once([add, add, add]))
        assert not lost
        assert sum(len(added) for added in won) == 1


def test_a_read_back_against_a_publication(bar: Bar, cast: Cast) -> None:
    """Either it is judged before the new placement comes, or told that it is stale."""
    slot = Slot.objects.select_related("station__machine").get(pk=bar.slot.pk)
    for _ in range(ROUNDS):
        seen = place(slot, cast.head_roaster)
        reading = partial(
            read_back, slot=slot, found=FOUND, by=cast.shop_lead, seen_placement=seen.pk
        )
        race: list[Callable[[], object]] = [reading, partial(place, slot, cast.head_roaster)]
        outcomes = at_once(race)
        _, lost = split(outcomes)
        assert all(isinstance(told, Stale) for told in lost)
        seen.refresh_from_db()
        newer = Placement.objects.in_force().get(slot=slot)
        assert newer.pk != seen.pk
        assert (newer.verdict, seen.verdict) == ("unread", "unread" if lost else "matches")
        assert ReadBack.objects.filter(placement=seen).exists() is not bool(lost)


def test_setting_by_hand_against_a_publication(bar: Bar, cast: Cast) -> None:
    """Whoever comes first: in the end the signed placement is in force, and only that."""
    for number in range(min(ROUNDS, 60)):
        station = add_station(
            machine=bar.machine, number=10 + number, slots=1, by=cast.head_roaster
        )
        slot = station.slots.select_related("station__machine__site").get()
        values = {"water_volume": "281"}
        by_hand = partial(set_by_hand, slot=slot, values=values, by=cast.shop_lead)
        race: list[Callable[[], object]] = [by_hand, partial(place, slot, cast.head_roaster)]
        outcomes = at_once(race)
        _, lost = split(outcomes)
        assert all(isinstance(told, Refused) for told in lost)
        held = Placement.objects.in_force().get(slot=slot)
        assert held.basis == "publication"


def test_two_imports_of_one_file(bar: Bar, cast: Cast) -> None:
    for number in range(ROUNDS):
        text = (
            ",".join(NAMES).removesuffix(",reason")
            + f"\nq-{number},Q {number},Europe/Lisbon,1,M,Two boilers,1,2,,\n"
        )

        take = partial(import_equipment, text=text, by=cast.owner)
        won, lost = split(at_once([take, take]))
        assert not lost
        assert sorted((r.stations, r.unchanged) for r in won) == [(0, 1), (1, 0)]
