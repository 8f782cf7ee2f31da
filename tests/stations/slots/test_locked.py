"""Invariants 4 and 5: one placement in force a slot, and a locked slot stays locked.

Attacked by every way there is; what is refused leaves everything as it was.
"""

import pytest
from django.db import Error, connection, transaction
from django.db.models import Count

from audit.capture.models import Entry
from stations.slots.by_hand import place_by_hand
from stations.slots.models import Placement
from tests.cast import Cast
from tests.stations.attacks import ATTACKS, Attack
from tests.stations.conftest import VALUES, Bar, place


def in_force(slot_id: int) -> list[tuple[int, object]]:
    rows = Placement.objects.filter(slot=slot_id, state="in_force")
    return list(rows.values_list("pk", "settings__values"))


def commit(attack: Attack, held: Placement) -> None:
    """Run it, and check what a commit would check."""
    attack(held)
    connection.check_constraints()


@pytest.mark.parametrize("name", ATTACKS)
def test_nothing_changes_what_a_locked_slot_should_hold(name: str, bar: Bar, cast: Cast) -> None:
    held = place(bar.slot, cast.head_roaster)
    entries = Entry.objects.count()
    with pytest.raises(Error), transaction.atomic():
        commit(ATTACKS[name], held)
    assert in_force(bar.slot.pk) == [(held.pk, VALUES)]
    assert Entry.objects.count() == entries


def test_the_refusal_tells_who_may(bar: Bar, cast: Cast) -> None:
    held = place(bar.slot, cast.head_roaster)
    with pytest.raises(Error) as raised, transaction.atomic():
        ATTACKS["end it"](held)
    diagnosis = getattr(raised.value.__cause__, "diag", None)
    assert diagnosis is not None
    assert diagnosis.sqlstate == "PL001"
    assert "head roaster" in (diagnosis.message_hint or "")


def test_only_one_placement_is_ever_in_force(bar: Bar, cast: Cast) -> None:
    for _ in range(3):
        place(bar.slot, cast.head_roaster)
        place(bar.second.slots.get(number=1), cast.head_roaster)
    rows = Placement.objects.in_force().values("slot").annotate(n=Count("pk"))
    assert {row["n"] for row in rows} == {1}


def test_an_unlocked_slot_gives_way_to_a_publication(bar: Bar, cast: Cast) -> None:
    by_hand = place_by_hand(slot=bar.slot, values=VALUES, by=cast.shop_lead)
    held = place(bar.slot, cast.head_roaster)
    by_hand.refresh_from_db()
    assert (by_hand.state, by_hand.superseded_by_id) == ("ended", held.pk)


def test_a_verdict_written_outside_the_program_is_on_record(bar: Bar, cast: Cast) -> None:
    """Raw SQL may say that a slot matches; it cannot say so unseen."""
    held = place(bar.slot, cast.head_roaster)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE stations_placement SET verdict = 'matches' WHERE id = %s", [held.pk])
    entry = Entry.objects.latest("id")
    assert (entry.channel, entry.changes) == ("database", {"verdict": ["unread", "matches"]})
    assert entry.subject_id == bar.slot.pk
