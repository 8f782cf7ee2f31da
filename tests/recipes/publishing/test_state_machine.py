"""Any sequence of publications, permits and hands on a few slots: the database as the rules say.

Invariants 4, 5 and 8: one placement in force at most, a locked slot never by hand, every slot
placed exactly once, and everything falls back to where it belongs.
"""

from collections.abc import Callable
from typing import ClassVar

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from hypothesis.stateful import run_state_machine_as_test as run_machine

from audit.capture.models import Entry
from audit.errors import DomainError
from recipes.permits.actions import end, end_due_permits
from recipes.permits.models import Permit
from recipes.publishing import actions, run
from recipes.publishing.models import Publication
from recipes.publishing.scope import Scope, Where
from recipes.versions.models import Version
from stations.equipment.models import Slot
from stations.slots.by_hand import set_by_hand
from stations.slots.models import Placement
from stations.slots.read_backs import read_back
from tests.bar import Bar, station
from tests.recipes.permits.hands import granting, make_overdue
from tests.recipes.publishing.hands import (
    check_counts,
    make_due,
    next_week,
    order_for,
    other_version,
    signing,
)
from tests.recipes.publishing.slot_model import Holds, SlotModel, World
from tests.services import rounds

SLOTS = 3
SOME = st.sets(st.integers(0, SLOTS - 1), min_size=1).map(sorted)
ONE, WHICH = st.integers(0, SLOTS - 1), st.integers(0, 9)
VERBS = {
    "stop": ("running", "stopped"),
    "resume": ("stopped", "running"),
    "cancel": ("stopped", "cancelled"),
}


class SlotLife(RuleBasedStateMachine):
    """One head roaster and one shop lead do what they like with one station."""

    bar: ClassVar[Bar]
    versions: ClassVar[tuple[Version, Version]]
    stations: ClassVar[int] = 100

    def __init__(self) -> None:
        super().__init__()
        type(self).stations += 1
        self.station = station(self.bar.stations[0].machine, self.stations, "4.00", slots=SLOTS)
        self.slots = list(Slot.objects.with_equipment().filter(station=self.station))
        self.world = World({slot.pk: SlotModel() for slot in self.slots})
        self.head, self.lead = self.bar.cast.head_roaster, self.bar.cast.shop_lead

    def chosen(self, numbers: list[int]) -> list[int]:
        return [self.slots[number].pk for number in numbers]

    def tried(self, allowed: bool, act: Callable[[], object]) -> bool:
        """Run it; it must work exactly when the rules allow it."""
        try:
            act()
        except DomainError as told:
            assert not allowed, told.message  # noqa: PT017 - either outcome may be right
            return False
        assert allowed
        return True

    @rule(numbers=SOME, version=st.integers(0, 1), later=st.booleans())
    def publish(self, numbers: list[int], version: int, later: bool) -> None:
        slots = self.chosen(numbers)
        scope = Scope(Where.STATIONS, (self.station.pk,), tuple(n + 1 for n in numbers))
        order = order_for(self.versions[version], self.head, scope, next_week() if later else None)
        wanted = self.world.placeable(version, slots)
        if self.tried(bool(wanted), signing(order, self.head)):
            made = Publication.objects.latest("pk")
            self.world.publish(made.pk, version, wanted, not later)

    @rule(numbers=SOME, version=st.integers(0, 1))
    def publish_and_place(self, numbers: list[int], version: int) -> None:
        """All the way: else few sequences get far enough to be interesting."""
        before = set(self.world.publications)
        self.publish(numbers, version, later=False)
        for pk in self.world.publications.keys() - before:
            while self.world.step(pk):
                assert run.place_batch(pk, 1) == 1
            run.complete(pk)

    @initialize(begun=st.booleans())
    def begin(self, begun: bool) -> None:
        if begun:
            self.publish_and_place(list(range(SLOTS)), 0)

    def a_publication(self, which: int) -> Publication:
        known = list(self.world.publications)
        return Publication.objects.get(pk=known[which % len(known)])

    @precondition(lambda self: self.world.publications)
    @rule(which=WHICH)
    def work(self, which: int) -> None:
        publication = self.a_publication(which)
        done = run.place_batch(publication.pk, 1)
        run.complete(publication.pk)
        assert done == self.world.step(publication.pk)

    @precondition(lambda self: self.world.publications)
    @rule(which=WHICH)
    def time_passes(self, which: int) -> None:
        publication = self.a_publication(which)
        make_due(publication)
        self.world.publications[publication.pk].due = True

    @precondition(lambda self: self.world.publications)
    @rule(which=WHICH, verb=st.sampled_from(sorted(VERBS)))
    def decide(self, which: int, verb: str) -> None:
        publication = self.a_publication(which)
        act = getattr(actions, verb)
        allowed = self.world.move(publication.pk, *VERBS[verb])
        self.tried(
            allowed,
            lambda: act(
                by=self.head,
                publication=publication,
                revision=publication.revision,
                reason="Because",
            ),
        )

    @rule(numbers=SOME)
    def permit(self, numbers: list[int]) -> None:
        slots = self.chosen(numbers)
        act = granting([self.slots[number] for number in numbers], self.head)
        if self.tried(self.world.may_permit(slots), act):
            self.world.permit(Permit.objects.latest("pk").pk, slots)

    @precondition(lambda self: self.world.permits)
    @rule(which=WHICH, by_time=st.booleans())
    def end_permit(self, which: int, by_time: bool) -> None:
        pk = list(self.world.permits)[which % len(self.world.permits)]
        permit = Permit.objects.get(pk=pk)
        fallen = self.world.end(pk)
        if by_time:
            make_overdue(permit)
            assert end_due_permits() == 1
        else:
            assert (
                end(by=self.head, permit=permit, revision=permit.revision, reason="Mended")
                == fallen
            )

    @rule(number=ONE, by_head=st.booleans())
    def set_by_hand(self, number: int, by_head: bool) -> None:
        slot, model = self.slots[number], self.world.slots[self.slots[number].pk]
        who, typed = self.head if by_head else self.lead, {"water_volume": "281"}
        refusals = Entry.objects.filter(operation="refused").count()
        if self.tried(not model.locked, lambda: set_by_hand(slot=slot, values=typed, by=who)):
            model.take(Holds("by_hand", None))
        else:
            assert Entry.objects.filter(operation="refused").count() == refusals + 1

    @rule(number=ONE, right=st.booleans())
    def read(self, number: int, right: bool) -> None:
        slot, model = self.slots[number], self.world.slots[self.slots[number].pk]
        held = Placement.objects.in_force().filter(slot=slot).first()
        values = held.settings.values if held else {}
        found = {code: each["value"] for code, each in values.items()}
        found |= {} if right else {"water_volume": "99"}
        seen = held.pk if held else 0
        if self.tried(
            model.now is not None,
            lambda: read_back(slot=slot, found=found, by=self.lead, seen_placement=seen),
        ):
            model.verdict = "matches" if right else "differs"

    @invariant()
    def slots_hold_what_the_rules_say(self) -> None:
        rows = list(Placement.objects.filter(slot__station=self.station))
        for slot in self.slots:
            model = self.world.slots[slot.pk]
            mine = {
                state: [row for row in rows if row.slot_id == slot.pk and row.state == state]
                for state in ("in_force", "suspended", "scheduled")
            }
            held = [Holds(row.basis, row.basis_id) for row in mine["in_force"]]
            assert held == ([model.now] if model.now else [])
            assert [row.verdict for row in mine["in_force"]] == [model.verdict] * len(held)
            aside = [Holds(row.basis, row.basis_id) for row in mine["suspended"]]
            assert aside == ([model.aside] if model.aside else [])
            waiting = [row.basis_id for row in mine["scheduled"]]
            assert waiting == ([model.waiting] if model.waiting else [])

    @invariant()
    def publications_are_where_the_rules_say(self) -> None:
        rows = Publication.objects.in_bulk(list(self.world.publications))
        for pk, model in self.world.publications.items():
            assert rows[pk].state == model.state
            check_counts(rows[pk])
            mine = Placement.objects.filter(basis="publication", basis_id=pk)
            assert mine.filter(state="cancelled").count() == model.cancelled
            assert mine.filter(started_at__isnull=False).count() == model.placed
        unfinished = {pk for pk, model in self.world.publications.items() if model.unfinished}
        assert {pk for pk in run.unfinished() if pk in self.world.publications} == unfinished


@pytest.mark.django_db
def test_the_life_of_slots(bar: Bar) -> None:
    SlotLife.bar, SlotLife.versions = bar, (bar.version, other_version(bar))
    run_machine(
        SlotLife,
        settings=settings(
            max_examples=rounds(200, 10),
            stateful_step_count=rounds(50, 25),
            suppress_health_check=list(HealthCheck),
        ),
    )
