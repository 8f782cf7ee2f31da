"""Advice after a shot: what is said when, and that following it is quicker than trial and error."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from stations.metrology.advising import Advice, Band, Case, Do, Knob, Modelled, Why, advise
from stations.metrology.answering import Estimate, Pull
from tests.services import rounds

TIME, DOSE, CUP = Band(28, 26, 30), Band(18, 17.8, 18.2), Band(36, 34, 38)
KNOB = Knob(step=1.0, most=10.0)
HISTORY = [
    Pull(1, mark, 18.0, 36.0, 28 + 2 * mark + off)
    for mark in (-1.0, 0.0, 1.0)
    for off in (-0.4, 0.0, 0.4)
]


def told(*times: float, before: list[Pull] | None = None, **more: object) -> Advice:
    """The advice after these shots of a new lot at mark 0."""
    pulls = [*(before or []), *(Pull(2, 0.0, 18.0, 36.0, time) for time in times)]
    case = Case(pulls, TIME, DOSE, CUP, KNOB)
    return advise(replace(case, **more))  # type: ignore[arg-type]


def test_within_tolerance_it_is_left() -> None:
    assert told(26.0).do is Do.LEAVE
    assert told(30.0, before=HISTORY).do is Do.LEAVE


def test_out_of_it_the_shots_say_how_far_and_between_what() -> None:
    advice = told(24.0, 24.2, before=HISTORY)
    assert (advice.do, advice.why, advice.marks, advice.shots) == (Do.GRIND, Why.OUT, 2.0, 11)
    assert advice.effect
    assert advice.effect.low < 4.0 < advice.effect.high
    assert told(32.1, 31.9, before=HISTORY).marks == -2.0


def test_one_shot_is_no_trend() -> None:
    assert told(28.0, 28.4, 23.0, before=HISTORY).why is Why.ONE_IS_NO_TREND
    assert told(28.0, 28.4, 27.8, 30.3).why is Why.ONE_IS_NO_TREND  # all of them are within
    assert told(25.4).why is Why.ONE_IS_NO_TREND  # the first, and hardly out
    assert told(28.0, 24.0, 23.9).do is Do.GRIND


def test_without_shots_the_model_says_it_and_without_both_which_way_only() -> None:
    modelled = Modelled(Estimate(2.0, 1.0, 3.5))
    advice = told(22.0, 21.8, modelled=modelled)
    assert (advice.marks, advice.shots, advice.effect) == (3.0, 0, Estimate(6.0, 3.0, 10.5))
    assert told(22.0, modelled=modelled).do is Do.GRIND
    untried = told(24.2, 24.0)
    assert (untried.why, untried.marks, untried.effect) == (Why.UNTRIED, 1.0, None)
    assert told(34.0, 33.6, knob=None).marks == -1.0


def test_a_dose_or_an_end_that_is_off_comes_first() -> None:
    pull = Pull(2, 0.0, 18.6, 36.0, 35.0)
    advice = advise(Case([pull], TIME, DOSE, CUP, KNOB))
    assert (advice.do, advice.why, round(advice.grams, 2)) == (Do.AGAIN, Why.DOSE_OFF, -0.6)
    long = [Pull(2, 0.0, 18.0, 41.0, 28.0), Pull(2, 0.0, 18.0, 40.5, 28.0)]
    assert advise(Case(long, TIME, DOSE, CUP, KNOB)).do is Do.AGAIN
    asked = advise(Case(long, TIME, DOSE, CUP, KNOB, ended_by_hand=False))
    assert (asked.do, asked.why) == (Do.ASK, Why.ENDS_OFF)


def test_what_no_grinder_cures_is_asked_for() -> None:
    flat = [replace(pull, response=28 + (at % 3) / 5) for at, pull in enumerate(HISTORY)]
    asked = told(20.0, 20.2, before=flat)
    assert (asked.do, asked.why) == (Do.ASK, Why.UNMOVED)
    far = told(90.0, 91.0, before=HISTORY, knob=Knob(1.0, 3.0))
    assert (far.do, far.why) == (Do.ASK, Why.TOO_FAR)
    assert told(28.0, tastes=[True, False, True]).why is Why.TASTE
    assert told(28.0, tastes=[True, False, False]).do is Do.LEAVE
    assert told(28.0, tastes=[False, True, True]).do is Do.LEAVE


def test_never_farther_than_one_moves_at_once() -> None:
    assert told(45.0, 45.4, before=HISTORY, knob=Knob(1.0, 5.0)).marks == -5.0


def test_less_than_a_mark_is_the_dose_within_its_tolerance() -> None:
    """Two grams of which are worth 10 s, at a grinder whose marks are worth 5."""
    before = [
        Pull(1, mark, 18 + grams, 36.0, 28 + 5 * mark + 10 * grams + off)
        for mark in (-1.0, 0.0, 1.0)
        for grams in (-0.1, 0.1)
        for off in (-0.1, 0.1)
    ]
    advice = told(30.1, 30.2, before=before)
    assert (advice.do, round(advice.grams, 1)) == (Do.DOSE, -0.2)
    assert told(30.1, 30.2, before=before, dose=Band(18, 17.95, 18.05)).do is Do.AGAIN


# Following the advice beside trial and error, at simulated stations of known sensitivity.

ENOUGH = 40  # shots, at which somebody gives up
STATIONS = rounds(2000, 150)


@dataclass(frozen=True)
class Station:
    """s per mark, per g of dose and per g in the cup; scatter [s]; off by so many s at first."""

    slopes: tuple[float, float, float]
    scatter: float
    off: float

    @classmethod
    def at(cls, rng: np.random.Generator) -> "Station":
        slopes = (rng.uniform(0.8, 3), rng.uniform(0, 6), rng.uniform(0.2, 0.8))
        return cls(slopes, rng.uniform(0.5, 1.0), rng.choice([-1, 1]) * rng.uniform(6, 15))

    def pull(self, rng: np.random.Generator, mark: float, group: int, off: float) -> Pull:
        """One shot, weighed to a tenth, dose and cup within tolerance."""
        dose = float(np.clip(round(18 + rng.normal(0, 0.12), 1), 17.8, 18.2))
        cup = float(np.clip(round(36 + rng.normal(0, 0.6), 1), 34.1, 37.9))
        answer = float(np.dot(self.slopes, (mark, dose - 18, cup - 36)))
        return Pull(
            group, mark, dose, cup, round(28 + off + answer + rng.normal(0, self.scatter), 1)
        )


Step = Callable[[list[Pull]], float]


def shots_until_settled(seed: int, step: Step, *, known: bool = False) -> int:
    """How many shots of a new lot until two in a row are within tolerance."""
    rng = np.random.default_rng(seed)
    station, mark, run = Station.at(rng), 0.0, 0
    pulls = [station.pull(rng, (-1.0, 0.0, 1.0, 2.0)[at % 4], 1, 0.0) for at in range(12 * known)]
    for count in range(1, ENOUGH):
        pulls.append(station.pull(rng, mark, 2, station.off))
        run = 0 if TIME.side(pulls[-1].response) else run + 1
        if run == 2:
            return count
        mark += step(pulls)
    return ENOUGH


def by_advice(pulls: list[Pull]) -> float:
    return advise(Case(pulls, TIME, DOSE, CUP, KNOB)).marks


def by_trial_and_error(pulls: list[Pull]) -> float:
    """After each shot that is out: two marks the right way if it is over 5 s off, else one."""
    time = pulls[-1].response
    return -TIME.side(time) * (2.0 if abs(time - TIME.target) > 5 else 1.0)


def test_following_it_takes_fewer_shots_than_trial_and_error() -> None:
    """12 earlier shots at four marks; then a lot that runs 6 to 15 s off.

    Seeds 0 to 1,999: on average 3.85 shots advised, 6.16 by trial and error.
    """
    advised, tried = (
        np.array([shots_until_settled(seed, step, known=True) for seed in range(STATIONS)])
        for step in (by_advice, by_trial_and_error)
    )
    print(f"shots until settled: {advised.mean():.2f} advised, {tried.mean():.2f} by trial")
    fewer = tried - advised
    assert fewer.mean() > 4 * fewer.std() / len(fewer) ** 0.5
