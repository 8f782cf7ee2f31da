"""The grid as of any moment is what a replay in plain Python says, in random worlds."""

import random
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from itertools import pairwise

import pytest

from recipes.grid.asked import STATES, Asked
from recipes.grid.cells import cells_of
from recipes.grid.matching import fitting, sites_for
from recipes.publishing import run
from stations.equipment.models import Slot
from stations.shots.actions import correct_shot, log_shot
from stations.slots.models import Placement
from stations.slots.then import Moment
from tests.bar import Bar, approved, draft
from tests.publishing import Publish
from tests.recipes.grid.worlds import SHOT, Stands, World, clock
from tests.recipes.publishing.test_signed_content import tamper
from tests.services import rounds

WORLDS = rounds(40, 4)


def shown(at: datetime | None) -> dict[int, Stands]:
    """The grid's own answer."""
    slots = list(Slot.objects.with_equipment())
    cells = cells_of(slots, Asked(at=Moment(at) if at else None))
    return {
        cell.slot.pk: Stands(
            cell.held.placement.pk if cell.held.placement else None,
            cell.held.condition,
            tuple((shot.pk, shot.out) for shot in cell.shots),
        )
        for cell in cells
    }


@pytest.mark.parametrize("seed", range(WORLDS))
def test_every_moment_of_a_random_world(bar: Bar, send: Publish, seed: int) -> None:
    world = World(bar, send, random.Random(seed))
    world.live(doings=40)
    for at in world.instants:
        assert shown(at) == world.stands(at), at
    assert shown(None) == world.stands(world.instants[-1])
    _filters(world)


def test_no_slot_stands_open_while_something_takes_over(bar: Bar, send: Publish) -> None:
    """Both times of one statement, and what lies between them."""
    newer = draft(bar.cast, recipe=bar.version.recipe)
    run.run(send().pk)
    run.run(send(approved(bar.cast, newer)).pk)
    ended = Placement.objects.filter(state="ended").select_related("superseded_by")
    for old in ended:
        new = old.superseded_by
        assert new is not None
        assert old.ended_at is not None
        assert new.started_at is not None
        assert shown(old.ended_at)[old.slot_id].placement in (old.pk, new.pk)
        assert shown(new.started_at)[old.slot_id].placement == new.pk


def test_what_the_archives_took_is_not_guessed(bar: Bar, send: Publish) -> None:
    """A shot was out, and corrected since: without its first entry nobody knows how it stood."""
    run.run(send().pk)
    who, slot = bar.cast.head_roaster, bar.slots[0]
    out = replace(SHOT, beverage_mass=Decimal("42.0"))
    shot, at = log_shot(by=who, slot=slot, shot=out), clock()
    correct_shot(by=who, shot=shot, seen_corrections=0, to=SHOT, reason="Wrong cup")
    assert shown(at)[slot.pk].shots == ((shot.pk, True),)
    tamper(
        "DELETE FROM audit_entry WHERE table_name = 'stations_checkshot' AND row_id = %s"
        " AND operation = 'created'",
        shot.pk,
    )
    assert shown(at)[slot.pk].shots == ()
    assert shown(None)[slot.pk].shots == ((shot.pk, False),)


def _filters(world: World) -> None:
    """Each state, and what changed between two moments, by the queries that choose the slots."""
    for at in world.instants[::6]:
        stands = world.stands(at)
        for state in STATES:
            fits = {pk for pk, one in stands.items() if one.condition == state}
            asked = Asked(state=state, at=Moment(at))
            assert found(world, asked) == fits, (at, state)
            sites = sites_for(world.bar.cast.head_roaster, asked).order_by("name")
            there = {slot.station.machine.site for slot in world.bar.slots if slot.pk in fits}
            assert list(sites[:2]) == sorted(there, key=lambda site: site.name)[:2], (at, state)
    for since, at in pairwise(world.instants[::4]):
        before, after = world.stands(since), world.stands(at)
        changed = {pk for pk in after if after[pk].placement != before[pk].placement}
        assert found(world, Asked(at=Moment(at), since=Moment(since))) == changed, (since, at)


def found(world: World, asked: Asked) -> set[int]:
    """The slots that fit."""
    return set(fitting(world.bar.cast.head_roaster, asked).values_list("pk", flat=True))
