"""Check shots: tied to what was in force, judged at once, corrected for the record only."""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from django.db import Error, connection, transaction

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from stations.shots.actions import correct_shot, log_shot
from stations.shots.judging import Weighed, judge
from stations.shots.models import CheckShot, ShotCorrection
from stations.slots.by_hand import place_by_hand
from tests.cast import Cast
from tests.stations.conftest import VALUES, Bar, place

SHOT = Weighed(Decimal("18.1"), Decimal("38.5"), Decimal("27.0"))
CUP = {
    "dose_mass": {"target": "18.0", "below": "0.2", "above": "0.2", "unit": "g"},
    "beverage_mass": {"target": "36.0", "below": "2", "above": "2", "unit": "g"},
    "shot_time": {"target": "28", "unit": "s"},
}


def test_each_value_is_judged_against_target_and_tolerance() -> None:
    assert judge(CUP, SHOT) == {
        "dose_mass": "within", "beverage_mass": "high", "shot_time": "open",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("dose", "verdict"),
    [("17.8", "within"), ("17.79", "low"), ("18.2", "within"), ("18.20", "within"),
     ("18.21", "high"), ("18", "within")],
)  # fmt: skip
def test_the_limits_belong_to_the_tolerance(dose: str, verdict: str) -> None:
    assert judge(CUP, replace(SHOT, dose_mass=Decimal(dose)))["dose_mass"] == verdict


def test_a_shot_belongs_to_what_is_in_force_at_that_moment(bar: Bar, cast: Cast) -> None:
    first = place(bar.slot, cast.head_roaster, cup=CUP)
    before = log_shot(slot=bar.slot, shot=SHOT, by=cast.barista)
    second = place(bar.slot, cast.head_roaster, cup=CUP)
    after = log_shot(slot=bar.slot, shot=SHOT, by=cast.barista)
    assert (before.placement_id, after.placement_id) == (first.pk, second.pk)
    assert (before.verdict, before.verdicts["beverage_mass"]) == ("outside", "high")
    entry = Entry.objects.filter(action="shot.logged").latest("id")
    assert (entry.actor, entry.subject_id) == (cast.barista.name, bar.slot.pk)
    assert entry.changes["dose_mass"] == [None, "18.1"]


def test_a_slot_set_by_hand_has_nothing_to_compare_with(bar: Bar, cast: Cast) -> None:
    place_by_hand(slot=bar.slot, values=VALUES, by=cast.shop_lead)
    assert log_shot(slot=bar.slot, shot=SHOT, by=cast.barista).verdict == "open"


def test_no_strength_is_beyond_what_coffee_holds(bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster, cup=CUP)
    # 36 % of 18.1 g in 38.5 g, by hand: 16.92 %.
    assert log_shot(slot=bar.slot, shot=replace(SHOT, strength=Decimal("16.9")), by=cast.barista)
    with pytest.raises(Invalid, match=r"strength.*at most 16\.9 % here") as caught:
        log_shot(slot=bar.slot, shot=replace(SHOT, strength=Decimal("17.0")), by=cast.barista)
    assert caught.value.problems[0].value == Decimal("17.0")
    # In 38.2 g 17.058 %: what is told to be the most is taken.
    short = replace(SHOT, beverage_mass=Decimal("38.2"))
    with pytest.raises(Invalid, match=r"at most 17\.0 % here"):
        log_shot(slot=bar.slot, shot=replace(short, strength=Decimal("17.1")), by=cast.barista)
    assert log_shot(slot=bar.slot, shot=replace(short, strength=Decimal("17.0")), by=cast.barista)


def test_an_empty_slot_takes_no_shot(bar: Bar, cast: Cast) -> None:
    with pytest.raises(Refused, match="Nothing is in force"):
        log_shot(slot=bar.slot, shot=SHOT, by=cast.barista)


@pytest.mark.parametrize("who", ["other_lead", "owner", "technician"])
def test_others_log_no_shot(bar: Bar, cast: Cast, who: str) -> None:
    place(bar.slot, cast.head_roaster)
    with pytest.raises(NotPermitted):
        log_shot(slot=bar.slot, shot=SHOT, by=getattr(cast, who))
    assert not CheckShot.objects.exists()


@pytest.mark.parametrize(
    ("field", "value"),
    [("dose_mass", "0"), ("dose_mass", "101"), ("dose_mass", "NaN"), ("beverage_mass", "-1"),
     ("beverage_mass", "1E+4"), ("shot_time", "601"), ("shot_time", "0.001"), ("strength", "31"),
     ("strength", "Infinity")],
)  # fmt: skip
def test_what_no_scale_shows_is_named(bar: Bar, cast: Cast, field: str, value: str) -> None:
    place(bar.slot, cast.head_roaster)
    wrong: dict[str, Any] = {field: Decimal(value)}
    with pytest.raises(Invalid) as raised:
        log_shot(slot=bar.slot, shot=replace(SHOT, **wrong), by=cast.barista)
    assert [problem.field for problem in raised.value.problems] == [field]


def test_a_correction_is_judged_anew_and_keeps_what_was_logged(bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster, cup=CUP)
    shot = log_shot(slot=bar.slot, shot=SHOT, by=cast.barista)
    right = replace(SHOT, beverage_mass=Decimal("35.8"))
    fixed = correct_shot(shot=shot, seen_corrections=0, to=right, reason="Typo", by=cast.barista)
    assert (fixed.verdict, fixed.corrections) == ("within", 1)
    entry = Entry.objects.get(table_name="stations_checkshot", operation="changed")
    assert entry.changes["beverage_mass"] == ["38.5", "35.8"]
    assert (entry.action, entry.reason) == ("shot.corrected", "Typo")
    with pytest.raises(Stale):
        correct_shot(shot=shot, seen_corrections=0, to=SHOT, reason="Back", by=cast.barista)
    with pytest.raises(Invalid, match="differs"):
        correct_shot(shot=shot, seen_corrections=1, to=right, reason="Again", by=cast.barista)


def test_a_correction_says_why(bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster)
    shot = log_shot(slot=bar.slot, shot=SHOT, by=cast.barista)
    out = replace(SHOT, left_out=True)
    with pytest.raises(Invalid, match="reason"):
        correct_shot(shot=shot, seen_corrections=0, to=out, reason=" ", by=cast.barista)
    correct_shot(shot=shot, seen_corrections=0, to=out, reason="Spilt", by=cast.barista)
    assert not CheckShot.objects.counted().exists()


ATTACKS: dict[str, Callable[[CheckShot], object]] = {
    "update": lambda shot: CheckShot.objects.update(dose_mass=19),
    "count up": lambda shot: CheckShot.objects.update(dose_mass=19, corrections=1),
    "delete": lambda shot: shot.delete(),
    "bulk delete": lambda shot: CheckShot.objects.all().delete(),
    "correction": lambda shot: ShotCorrection.objects.update(dose_mass=19),
}


@pytest.mark.parametrize("name", ATTACKS)
def test_nothing_else_changes_a_shot(bar: Bar, cast: Cast, name: str) -> None:
    place(bar.slot, cast.head_roaster)
    shot = log_shot(slot=bar.slot, shot=SHOT, by=cast.barista)
    out = replace(SHOT, note="x")
    shot = correct_shot(shot=shot, seen_corrections=0, to=out, reason="Note", by=cast.barista)
    with pytest.raises(Error), transaction.atomic():
        ATTACKS[name](shot)
    with pytest.raises(Error), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE stations_checkshot SET verdict = 'within'")
    shot.refresh_from_db()
    assert (shot.dose_mass, shot.corrections) == (Decimal("18.1"), 1)
