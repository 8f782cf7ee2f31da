"""After a shot: the verdict in a line, and what to do, from the station's own shots."""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

import pytest

from audit.capture.context import recorded
from recipes.coffees.actions import add_coffee
from stations.advice import model
from stations.advice.gathering import advice_on
from stations.advice.model import Foretold, per_mark
from stations.advice.words import Told, tell
from stations.equipment.actions import SLOTS_ADDED
from stations.grinders.actions import work_on_grinder
from stations.grinders.models import Grinder
from stations.shots.actions import correct_shot, log_shot
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot
from stations.slots.models import Placement
from tests.cast import ApiAs, Cast, SignedIn
from tests.grinders import grinder_of, opened_at
from tests.stations.conftest import VALUES, Bar, place

CUP = {
    "dose_mass": {"target": "18.0", "below": "0.2", "above": "0.2", "unit": "g"},
    "beverage_mass": {"target": "36.0", "below": "2", "above": "2", "unit": "g"},
    "shot_time": {"target": "28", "below": "2", "above": "2", "unit": "s"},
}
Pull = Callable[..., CheckShot]


@pytest.fixture
def grinder(bar: Bar, cast: Cast) -> Grinder:
    """At 12, lower is finer, half marks; a slot in force; the barista ends the shot."""
    values = {**VALUES, "ends_by": {"value": "operator", "unit": ""}}
    place(bar.slot, cast.head_roaster, values=values, cup=CUP)
    return grinder_of(bar.first, cast.owner)


@pytest.fixture
def pull(bar: Bar, cast: Cast, grinder: Grinder) -> Pull:
    """Log a shot of 18 g in and 36 g out at a mark."""

    def log(time: str, mark: str = "12", **more: object) -> CheckShot:
        shot = Weighed(Decimal(18), Decimal(36), Decimal(time), grind_setting=Decimal(mark))
        return log_shot(by=cast.barista, slot=bar.slot, shot=replace(shot, **more))  # type: ignore[arg-type]

    return log


def told(shot: CheckShot) -> Told:
    advised = advice_on(CheckShot.objects.with_place().get(pk=shot.pk))
    assert advised
    return tell(advised)


def history(pull: Pull) -> None:
    """Two seconds a mark, learnt at three marks."""
    for mark, time in (("13", 26), ("12", 28), ("11", 30)):
        for tenths in (-3, 0, 3):
            pull(str(Decimal(time) + Decimal(tenths) / 10), mark)


@pytest.fixture
def learnt(pull: Pull, grinder: Grinder, cast: Cast) -> Pull:
    """The same, once two seconds a mark were learnt; since then another bag is open."""
    history(pull)
    coffee = add_coffee(by=cast.head_roaster, name="Hill lot", rest_from=5, rest_to=30)
    opened_at(grinder, coffee, cast.head_roaster)
    return pull


def test_good_and_within_in_two_lines(pull: Pull) -> None:
    said = told(pull("27.5", taste="balanced"))
    assert (said.verdict, said.do, said.detail) == ("Within tolerance.", "Good, leave it.", "")


def test_a_finer_mark_by_how_much_and_from_how_many_shots(learnt: Pull) -> None:
    learnt("23.9", "12.5")
    said = told(learnt("23.7", "12.5"))
    assert said.verdict == "Shot time 23.7 s too low (target 28)."
    assert said.do == "Grind two marks finer: set it to 10.5."
    assert said.detail.startswith("About 4")
    assert "s longer, between" in said.detail
    assert "from 11 shots here" in said.detail


def test_a_grinder_whose_numbers_go_the_other_way(pull: Pull, grinder: Grinder) -> None:
    with recorded(by=None, action=SLOTS_ADDED):
        Grinder.objects.filter(pk=grinder.pk).update(finer="higher")
    pull("23.2")
    assert told(pull("23")).do == "Grind one mark finer: set it to 13."


def test_one_shot_is_no_trend(pull: Pull) -> None:
    history(pull)
    pull("28.1")
    assert told(pull("22")).do == "Pull again. One shot is no trend."


def test_new_burrs_forget_what_was_learnt(pull: Pull, grinder: Grinder, cast: Cast) -> None:
    history(pull)
    work_on_grinder(
        by=cast.technician, grinder=grinder, seen_event=grinder.events.latest("id").pk,
        kind="burrs", setting=Decimal(12), reason="Worn",
    )  # fmt: skip
    pull("23.2")
    said = told(pull("23"))
    assert said.do == "Grind one mark finer: set it to 11."
    assert said.detail == "How far a mark goes here is not known yet: the next shot tells."


def test_with_too_few_shots_the_model_says_so(
    pull: Pull, grinder: Grinder, monkeypatch: pytest.MonkeyPatch
) -> None:
    with recorded(by=None, action=SLOTS_ADDED):
        Grinder.objects.filter(pk=grinder.pk).update(micrometres_per_mark=10)
    monkeypatch.setattr(model, "_foretellers", [lambda shot: Foretold(0.5, 0.0)])
    pull("23.8")
    said = told(pull("24"))
    assert said.do == "Grind two marks finer: set it to 10."
    assert said.detail == (
        "About 4.0 s longer, between 2.5 and 6.7 s;"
        " by the shot model, since too few shots here tell."
    )


def test_a_mark_is_a_part_of_the_gap() -> None:
    one = per_mark(0.5, 10)
    assert (one.value, one.low, one.high) == pytest.approx((2.0, 1.25, 10 / 3))


def test_what_the_bar_can_do_itself_comes_first(pull: Pull) -> None:
    assert told(pull("35", dose_mass=Decimal("18.6"))).do == "Pull again. Weigh 18.0 g in."
    assert told(pull("28", beverage_mass=Decimal(41))).do == "Pull again. Aim to end it at 36.0 g."


def test_a_taste_that_stays_off_is_asked_for(
    pull: Pull, bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    assert told(pull("28", taste="sour")).do == "Good, leave it."
    shot = pull("28", taste="sour")
    said = told(shot)
    assert said.do == (
        "Ask for a change: it is within tolerance and tasted off in 2 of the last three."
    )
    page = signed_in(cast.shop_lead).get(shot.get_absolute_url()).content.decode()
    assert f"?slot={bar.slot.pk}&amp;shot={shot.pk}" in page
    assert (
        "A shop lead asks" in signed_in(cast.barista).get(shot.get_absolute_url()).content.decode()
    )


def test_nothing_hot_or_under_pressure_is_ever_advised(pull: Pull) -> None:
    history(pull)
    pull("70", "9")
    said = told(pull("75", "9"))
    assert "coarser" in said.do
    assert "never unlock the group before the pressure is off" in said.detail
    assert not {"temperature", "pump", "boiler"} & set(said.do.split())


def test_only_the_newest_shot_of_what_is_in_force_is_advised_on(
    pull: Pull, cast: Cast, bar: Bar
) -> None:
    first, second = pull("22"), pull("22.2")
    assert advice_on(first) is None
    out = Weighed(Decimal(18), Decimal(36), Decimal("22.2"), left_out=True)
    correct_shot(by=cast.barista, shot=second, seen_corrections=0, to=out, reason="Spilt")
    assert advice_on(CheckShot.objects.with_place().get(pk=second.pk)) is None
    with recorded(by=None, action=SLOTS_ADDED):
        Placement.objects.in_force().filter(slot=bar.slot).update(verdict="differs")
    assert advice_on(CheckShot.objects.with_place().get(pk=first.pk)) is None


def test_over_http(learnt: Pull, cast: Cast, api_as: ApiAs) -> None:
    learnt("24", "12.5")
    shot = learnt("23.9", "12.5")
    read = api_as(cast.barista).get(f"/api/v1/shots/{shot.pk}/advice/").json()
    assert (read["do"], read["why"], read["marks_finer"], read["set_to"]) == (
        "grind", "out", "2", "10.5",
    )  # fmt: skip
    assert float(read["effect"]["low"]) < 4 < float(read["effect"]["high"])
    assert api_as(cast.other_lead).get(f"/api/v1/shots/{shot.pk}/advice/").status_code == 404


def test_a_lot_of_its_own_is_a_level_of_its_own(learnt: Pull) -> None:
    assert told(learnt("22")).do == "Grind three marks finer: set it to 9."


@pytest.mark.parametrize(
    ("age", "said"), [(2, "Its lot still rests"), (12, ""), (50, "Its lot is past its window")]
)
def test_a_lot_outside_its_window_is_told_before_anything_is_changed(
    age: int, said: str, pull: Pull, grinder: Grinder, cast: Cast
) -> None:
    coffee = add_coffee(by=cast.head_roaster, name="Hill lot", rest_from=5, rest_to=30)
    opened_at(grinder, coffee, cast.head_roaster, age)
    assert "Its lot" not in told(pull("27.5", taste="balanced")).detail
    pull("20.2")
    changing = told(pull("20"))
    assert changing.do.startswith("Grind")
    assert (said in changing.detail, "Its lot" in changing.detail) == (True, bool(said))
