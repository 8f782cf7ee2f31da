"""The desk publishes at the moment in which somebody at the bar acts on the same slot."""

from collections.abc import Callable
from functools import partial

import pytest

from audit.errors import Refused, Stale
from recipes.publishing.scope import Scope, Where
from stations.equipment.models import Slot
from stations.slots.by_hand import set_by_hand
from stations.slots.models import Placement, ReadBack
from stations.slots.read_backs import read_back
from tests.bar import Bar, station
from tests.races import at_once
from tests.recipes.publishing.hands import (
    at_slot,
    in_force,
    later,
    order_for,
    other_version,
    signing,
    split,
    work,
)
from tests.services import rounds

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("quiet")]
ROUNDS = rounds(200, 10)
TYPED = {"water_volume": "281", "ends_by": "volume"}


def whole(slot: Slot) -> Slot:
    found: Slot = Slot.objects.with_equipment().get(pk=slot.pk)
    return found


def test_setting_by_hand_against_the_worker(bar: Bar) -> None:
    """Free slots only: one that was published to once stays locked."""
    machine, head = bar.stations[0].machine, bar.cast.head_roaster
    free = station(machine, 9, "4.00", slots=min(ROUNDS, 90))
    for number, slot in enumerate(free.slots.order_by("number")):
        by_hand = partial(set_by_hand, slot=whole(slot), values=TYPED, by=bar.cast.shop_lead)
        by_hand()
        publication = signing(order_for(bar.version, head, at_slot(slot)), head)()
        working = later(0.004 * (number % 3), partial(work, publication.pk, 5))
        race: list[Callable[[], object]] = [by_hand, working]
        outcomes = at_once(race)
        _, lost = split(outcomes)
        assert outcomes[1] == 1
        assert [type(told) for told in lost] in ([], [Refused])
        held = in_force(slot)
        assert (held.basis, held.basis_id) == ("publication", publication.pk)
        past = Placement.objects.filter(slot=slot, basis="by_hand")
        assert set(past.values_list("state", flat=True)) == {"ended"}
        assert past.count() == 2 - len(lost)


def test_a_read_back_against_the_worker(bar: Bar) -> None:
    """It is judged against what was in force, or told that something newer is."""
    head, slot = bar.cast.head_roaster, whole(bar.slots[0])
    versions = (bar.version, other_version(bar))
    work(signing(order_for(versions[1], head, at_slot(slot)), head)().pk, 1)
    for number in range(ROUNDS):
        seen = in_force(slot)
        found = {code: each["value"] for code, each in seen.settings.values.items()}
        order = order_for(versions[number % 2], head, at_slot(slot))
        publication = signing(order, head)()
        reading = partial(
            read_back, slot=slot, found=found, by=bar.cast.shop_lead, seen_placement=seen.pk
        )
        working = later(0.004 * (number % 3), partial(work, publication.pk, 1))
        race: list[Callable[[], object]] = [reading, working]
        outcomes = at_once(race)
        _, lost = split(outcomes)
        assert outcomes[1] == 1
        assert [type(told) for told in lost] in ([], [Stale])
        assert in_force(slot).verdict == "unread", "nobody has read back what is in force now"
        assert ReadBack.objects.filter(placement=seen).exists() is not bool(lost)


def test_every_slot_by_hand_while_one_publication_runs(bar: Bar) -> None:
    head, lead = bar.cast.head_roaster, bar.cast.shop_lead
    mine = [whole(slot) for slot in bar.slots if whole(slot).station.machine.site == bar.cast.site]
    scope = Scope(Where.SITES, (bar.cast.site.pk,))
    publication = signing(order_for(bar.version, head, scope), head)()
    hands = [partial(set_by_hand, slot=slot, values=TYPED, by=lead) for slot in mine]
    race: list[Callable[[], object]] = [*hands, partial(work, publication.pk, 2)]
    _, lost = split(at_once(race))
    work(publication.pk, 10)
    assert all(isinstance(told, Refused) for told in lost)
    bases = Placement.objects.in_force().filter(slot__in=mine).values_list("basis", flat=True)
    assert list(bases) == ["publication"] * len(mine)
