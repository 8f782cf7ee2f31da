"""Predicting a change from fitted shots: its direction, and how far the interval can be trusted."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import t

from recipes.brewing.errors import QuantityError
from recipes.brewing.shot_model.fit import Fit, Noise, Pulled, fit_shots, tellable
from recipes.brewing.shot_model.parameters import Ending, EndsBy, Setup
from recipes.brewing.shot_model.predict import Compared, predict, predict_courses
from recipes.brewing.shot_model.reading import ends_of, read_at_end, run_on
from recipes.brewing.shot_model.simulate import simulate
from tests.recipes.brewing.shots import DOUBLE, double

TRUE = {"grind": 12.3, "absorbs": 0.95, "slow_rate": 0.065}
NOISE = Noise(time=0.8, mass=0.5, tds=0.15)
VALUES = np.array(list(TRUE.values()))
# Uncorrelated and known to 1, 2 and 3 %.
KNOWN = Fit(tuple(TRUE), VALUES, np.diag((VALUES * [0.01, 0.02, 0.03]) ** 2), 30, 1.0)


def morning(seed: int, count: int, *, tds: bool = True) -> list[Pulled]:
    """Check shots of one recipe, only the dose varying as a barista's does."""
    chance, found = np.random.default_rng(seed), []
    for _ in range(count):
        dose = 18 + chance.normal(0, 0.12)
        made = simulate(double(dose=dose, **TRUE))
        found.append(
            Pulled(
                double(dose=round(dose, 1)),
                time=made.time + chance.normal(0, NOISE.time),
                beverage=made.beverage + chance.normal(0, NOISE.mass),
                tds=made.tds + chance.normal(0, NOISE.tds) if tds else None,
            )
        )
    return found


def change(fit: Fit, other: Setup) -> dict[str, Compared]:
    return {one.name: one for one in predict(fit, DOUBLE, other)}


@pytest.mark.parametrize("wide", [1.0, 2.0, 5.0])
def test_shots_that_differ_in_dose_are_read_as_if_simulated_one_by_one(wide: float) -> None:
    setups = [double(dose=dose) for dose in np.linspace(18 - wide / 2, 18 + wide / 2, 9)]
    single = [read_at_end(setup, run_on(setup)) for setup in setups]
    assert ends_of(setups) == pytest.approx(np.array(single), abs=0.002)


def test_shots_of_several_settings_come_back_in_their_order() -> None:
    setups = [double(dose=18), double(dose=18, temperature=90), double(dose=18.3), double(dose=18)]
    single = [read_at_end(setup, run_on(setup)) for setup in setups]
    assert ends_of(setups) == pytest.approx(np.array(single), abs=0.002)


def test_what_is_measured_says_what_can_be_told() -> None:
    assert tellable(morning(1, 8), noise=NOISE) == ("grind", "absorbs", "slow_rate")
    assert tellable(morning(1, 8, tds=False), noise=NOISE) == ("grind", "absorbs")
    timed = [Pulled(one.setup, time=one.time) for one in morning(1, 8)]
    assert tellable(timed, noise=NOISE) == ("grind",)
    closed = [Pulled(double(opening=0.0), tds=9.0)]
    assert "opening" not in tellable(closed, noise=NOISE)


def test_a_shot_not_pulled_lies_where_the_fit_says() -> None:
    """Of six 95 % intervals five hold the truth, at least: binomial, 97 %, and the seeds stay."""
    other = replace(double(dose=19.0), ending=Ending(EndsBy.VOLUME, 60.0))
    truth = simulate(replace(double(dose=19.0, **TRUE), ending=other.ending))
    base = simulate(double(**TRUE))
    held = {"time": 0, "beverage": 0, "tds": 0}
    for seed in range(6):
        fit = fit_shots(morning(seed, 8), free=tuple(TRUE), noise=NOISE)
        told = change(fit, other)
        for name in held:
            wanted = getattr(truth, name) - getattr(base, name)
            held[name] += abs(told[name].difference.value - wanted) < told[name].difference.margin
    assert min(held.values()) >= 5


def test_directions_are_those_of_physics() -> None:
    softer = change(KNOWN, double(brew_pressure=6.0))
    assert softer["time"].difference.value > 0
    hotter = change(KNOWN, double(temperature=96.0))
    assert hotter["extraction"].difference.value > 0
    assert hotter["time"].difference.value < 0  # thinner water runs faster
    more = change(KNOWN, double(dose=19.0))
    assert more["time"].difference.value > 0
    assert more["beverage"].difference.value < 0


def test_no_change_is_no_difference_and_certainly_so() -> None:
    for one in predict(KNOWN, DOUBLE, DOUBLE):
        assert (one.difference.value, one.difference.margin) == (0, 0)
        assert one.base == one.changed


def test_the_interval_is_the_one_a_sample_of_parameters_gives() -> None:
    """The delta method against 300 draws; the sample's own spread is known to 4 %, 3 sd taken."""
    chance = np.random.default_rng(5)
    draws = chance.multivariate_normal(KNOWN.values, KNOWN.covariance, 300)
    times = [simulate(KNOWN.applied(DOUBLE, draw), step=1.0).time for draw in draws]
    told = change(KNOWN, DOUBLE)["time"].base
    assert told.margin == pytest.approx(t.ppf(0.975, 30) * np.std(times), rel=0.15)


def test_a_shot_that_never_ends_is_named() -> None:
    choked = replace(DOUBLE, ending=Ending(EndsBy.MASS, 1_900.0))
    with pytest.raises(QuantityError, match="ending by mass"):
        predict(KNOWN, DOUBLE, choked)


def test_a_course_carries_the_fit_to_every_moment() -> None:
    """The mass in the cup and its margin beside shots simulated with other parameters.

    For one parameter the delta method is half the way between a step up and one down; checked
    against the shots themselves, with the step of one standard uncertainty.
    """
    only = Fit(("grind",), VALUES[:1], np.array([[(VALUES[0] * 0.01) ** 2]]), 30, 1.0)
    told = predict_courses(only, DOUBLE, double(temperature=92))
    finer, coarser = (
        simulate(double(grind=TRUE["grind"] * factor)).trace for factor in (0.99, 1.01)
    )
    at = told.base.time[20:50]  # from the first drop on, where the mass has a kink
    wide = np.interp(at, coarser.time, coarser.beverage) - np.interp(at, finer.time, finer.beverage)
    reach = t.ppf(0.975, 30)
    assert told.base.margin[20:50] == pytest.approx(reach * wide / 2, rel=0.03, abs=0.02)
    assert told.base.values["beverage"][-1] == pytest.approx(told.compared[2].base.value, abs=1e-6)
    assert told.base.time[-1] == pytest.approx(told.compared[0].base.value, abs=1e-6)
    # Cooler water is thicker: at every moment there is less in the cup.
    later = np.interp(at, told.changed.time, told.changed.values["beverage"])
    assert (later <= told.base.values["beverage"][20:50] + 1e-9).all()


def test_without_a_change_both_courses_are_one() -> None:
    told = predict_courses(KNOWN, DOUBLE, DOUBLE)
    assert told.base is not None
    assert np.array_equal(told.base.values["flow"], told.changed.values["flow"])
    assert {one.difference.value for one in told.compared} == {0.0}
