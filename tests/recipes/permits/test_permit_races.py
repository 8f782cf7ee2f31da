"""Permits against publications, against each other, and against their own end."""

from collections.abc import Callable
from functools import partial
from threading import Event
from time import sleep
from typing import Any

import pytest
from django.db import transaction

from audit.capture.models import Entry
from audit.errors import Refused, Stale
from recipes.permits.actions import end, end_due_permits
from recipes.permits.models import Permit
from recipes.publishing.actions import cancel, stop
from recipes.publishing.models import Publication
from recipes.publishing.run import place_batch
from recipes.requests.actions import take_back
from recipes.requests.decisions import ask_back, decline
from stations.equipment.models import Slot
from stations.slots.models import Placement
from stations.slots.read_backs import read_back
from tests.bar import Bar
from tests.publishing import Publish
from tests.races import at_once
from tests.recipes.permits.hands import granting, make_overdue
from tests.recipes.permits.test_asking import answering, asking
from tests.recipes.publishing.hands import (
    at_slot,
    in_force,
    later,
    make_due,
    next_week,
    order_for,
    other_version,
    signing,
    split,
    work,
)
from tests.services import rounds

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("quiet")]
ROUNDS = rounds(200, 10)
Race = list[Callable[[], object]]


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The bar with its recipe in force."""
    work(send().pk, 100)
    return bar


def ending(permit: Permit, bar: Bar) -> partial[int]:
    seen = Permit.objects.get(pk=permit.pk)
    return partial(
        end, by=bar.cast.head_roaster, permit=seen, revision=seen.revision, reason="Mended"
    )


def suspended(slot: Slot) -> int:
    return Placement.objects.filter(slot=slot, state="suspended").count()


def test_two_permits_for_one_slot(placed: Bar) -> None:
    slot, cast = placed.slots[0], placed.cast
    for _ in range(ROUNDS):
        race = [granting([slot], cast.head_roaster), granting([slot], cast.second_roaster)]
        won, lost = split(at_once(race))
        assert (len(won), [type(told) for told in lost]) == (1, [Refused])
        assert lost[0].message.startswith("The plan has moved")
        assert in_force(slot).basis_id == won[0].pk
        assert suspended(slot) == 1
        assert ending(won[0], placed)() == 1
    assert Entry.objects.filter(operation="refused", action="permit.granted").count() == ROUNDS


def test_permits_that_overlap_in_part(placed: Bar) -> None:
    """All of a permit's slots or none."""
    head, second, slots = placed.cast.head_roaster, placed.cast.second_roaster, placed.slots
    for _ in range(ROUNDS):
        race = [granting(slots[0:2], head), granting(slots[1:4], second)]
        won, lost = split(at_once(race))
        assert (len(won), len(lost)) == (1, 1)
        on_permit = Placement.objects.in_force().filter(basis="permit")
        assert set(on_permit.values_list("basis_id", flat=True)) == {won[0].pk}
        assert on_permit.count() == won[0].slots.count()
        ending(won[0], placed)()


@pytest.mark.parametrize("when", [None, next_week()], ids=["at once", "next week"])
def test_a_permit_against_a_publication(placed: Bar, when: object) -> None:
    """Neither signs over what the other has changed meanwhile."""
    slot, head, second = placed.slots[0], placed.cast.head_roaster, placed.cast.second_roaster
    other = other_version(placed)
    for number in range(ROUNDS):
        publishing = signing(order_for(other, head, at_slot(slot), when), head)  # type: ignore[arg-type]
        race: Race = [
            later(0.01 * (number % 3), publishing),
            later(0.01 * (number % 2), granting([slot], second)),
        ]
        won, lost = split(at_once(race))
        assert (len(won), [type(told) for told in lost]) == (1, [Refused])
        assert lost[0].message.startswith("The plan has moved")
        if isinstance(won[0], Permit):
            ending(won[0], placed)()
        else:
            made = won[0]
            assert isinstance(made, Publication)
            for act in (stop, cancel):
                act(by=head, publication=made, revision=made.revision, reason="Next")
        assert in_force(slot).settings.content_digest == placed.version.content_digest


def test_an_end_against_the_end_of_its_time(placed: Bar) -> None:
    slot = placed.slots[0]
    for number in range(1, ROUNDS + 1):
        before = in_force(slot).pk
        permit = granting([slot], placed.cast.head_roaster)()
        make_overdue(permit)
        race: Race = [ending(permit, placed), end_due_permits, end_due_permits]
        by_hand, *by_time = at_once(race)
        assert not any(isinstance(each, Exception) for each in by_time), by_time
        assert isinstance(by_hand, Refused) == (sum(by_time) == 1), (by_hand, by_time)  # type: ignore[arg-type]
        assert sum(by_time) <= 1  # type: ignore[arg-type]
        assert (in_force(slot).pk, suspended(slot)) == (before, 0)
        ends = Entry.objects.filter(action="permit.ended", table_name="recipes_permit")
        assert ends.filter(changes__has_key="state").count() == number


def test_an_end_against_a_publication_coming_into_force(placed: Bar) -> None:
    """Whoever is first: the publication holds the slot, and the permit is over."""
    slot, head = placed.slots[0], placed.cast.head_roaster
    versions = (other_version(placed), placed.version)
    for number in range(ROUNDS):
        publication = signing(
            order_for(versions[number % 2], head, at_slot(slot), next_week()), head
        )()
        permit = granting([slot], head)()
        make_due(publication)
        race: Race = [
            later(0.01 * (number % 2), ending(permit, placed)),
            partial(work, publication.pk, 1),
        ]
        fallen, done = at_once(race)
        assert fallen == 1 or isinstance(fallen, Refused), fallen  # then it was over already
        assert done == 1, done
        held = in_force(slot)
        assert (held.basis, held.basis_id) == ("publication", publication.pk)
        assert suspended(slot) == 0


def test_an_end_against_a_read_back(placed: Bar) -> None:
    """A verdict on the permitted settings says nothing about what the slot falls back to."""
    slot = Slot.objects.with_equipment().get(pk=placed.slots[0].pk)
    for number in range(ROUNDS):
        permit = granting([slot], placed.cast.head_roaster)()
        seen = in_force(slot)
        found = {code: each["value"] for code, each in seen.settings.values.items()}
        reading = partial(
            read_back, slot=slot, found=found, by=placed.cast.shop_lead, seen_placement=seen.pk
        )
        race: Race = [later(0.003 * (number % 4), reading), ending(permit, placed)]
        outcomes = at_once(race)
        _, lost = split(outcomes)
        assert outcomes[1] == 1
        assert [type(told) for told in lost] in ([], [Stale])
        assert (in_force(slot).basis, in_force(slot).verdict) == ("publication", "unread")


def test_a_request_is_answered_once(placed: Bar) -> None:
    """Two permits, a no, a change by who asked and their taking it back: one of them holds."""
    cast, slot = placed.cast, placed.slots[0]
    for number in range(ROUNDS):
        request = asking(placed, slot)()
        seen: dict[str, Any] = {"request": request, "revision": request.revision}
        granted = answering(placed, request, slot)
        race: Race = [
            later(0.01 * (number % 2), granted),
            granted,
            later(0.02 * (number % 3),
                  partial(decline, by=cast.second_roaster, reason="Mend it", **seen)),
            partial(take_back, by=cast.shop_lead, **seen),
            partial(ask_back, by=cast.head_roaster, reason="Why?", **seen),
        ]  # fmt: skip
        won, lost = split(at_once(race))
        assert (len(won), {type(told) for told in lost} - {Refused, Stale}) == (1, set())
        request.refresh_from_db()
        permits = list(Permit.objects.filter(request=request))
        assert (request.state == "permitted") == bool(permits)
        assert len(permits) <= 1
        if permits:
            assert in_force(slot).basis_id == permits[0].pk
            ending(permits[0], placed)()
        else:
            assert in_force(slot).basis != "permit"
        if request.state == "asked_back":
            take_back(by=cast.shop_lead, request=request, revision=request.revision)


def test_the_last_slot_taken_over_against_the_end(placed: Bar) -> None:
    """A permit ends once, by hand or because nothing is left of it."""
    slot, head = placed.slots[0], placed.cast.head_roaster
    versions = (other_version(placed), placed.version)
    for number in range(ROUNDS):
        permit = granting([slot], head)()
        publication = signing(order_for(versions[number % 2], head, at_slot(slot)), head)()
        race: Race = [
            partial(work, publication.pk, 100),
            later(0.01 * (number % 3), ending(permit, placed)),
            end_due_permits,
        ]
        told = [each for each in at_once(race) if isinstance(each, Exception)]
        assert {type(each) for each in told} <= {Refused}
        work(publication.pk, 100)
        permit.refresh_from_db()
        assert (permit.state, in_force(slot).basis_id) == ("ended", publication.pk)
        ends = Entry.objects.filter(
            action="permit.ended", table_name="recipes_permit", row_id=permit.pk
        )
        assert ends.filter(changes__has_key="state").count() == 1


def test_two_that_take_over_the_last_slots(placed: Bar) -> None:
    """The second waits until the first has committed, and then nothing is left of the permit."""
    head, slots, begun = placed.cast.head_roaster, placed.slots[:2], Event()
    permit, other = granting(slots, head)(), other_version(placed)
    first, second = [signing(order_for(other, head, at_slot(slot)), head)() for slot in slots]

    def slow() -> None:
        with transaction.atomic():
            assert place_batch(first.pk, 9) == 1
            begun.set()
            sleep(0.5)

    def at_the_same_moment() -> None:
        assert begun.wait(30)
        assert place_batch(second.pk, 9) == 1

    assert at_once([slow, at_the_same_moment]) == [None, None]
    permit.refresh_from_db()
    assert permit.state == "ended"
    ends = Entry.objects.filter(table_name="recipes_permit", row_id=permit.pk)
    assert ends.filter(changes__has_key="state", operation="changed").count() == 1
