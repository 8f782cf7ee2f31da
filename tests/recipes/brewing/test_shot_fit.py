"""Fitting: known parameters come back from noisy shots, within what the covariance says."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest

from recipes.brewing.errors import QuantityError
from recipes.brewing.shot_model.fit import Noise, Pulled, fit_shots
from recipes.brewing.shot_model.parameters import Ending, EndsBy, Setup
from recipes.brewing.shot_model.simulate import simulate
from tests.recipes.brewing.shots import DOUBLE, double

TRUE = {"grind": 12.3, "absorbs": 0.95, "slow_rate": 0.065, "opening": 0.55}
NAMES = tuple(TRUE)
VALUES = np.array(list(TRUE.values()))
PULLS = ((18.0, 45.0), (18.0, 57.0), (17.0, 70.0), (19.0, 57.0))


def pulled(
    seed: int, true: Mapping[str, float], pulls: Sequence[tuple[float, float]] = PULLS
) -> list[Pulled]:
    """Shots simulated with the true parameters, measured with noise; set up with the defaults."""
    chance, found = np.random.default_rng(seed), []
    for dose, water in pulls:
        ending = Ending(EndsBy.VOLUME, water)
        truth = replace(double(dose=dose, **true), ending=ending)
        made = simulate(truth)
        times = np.arange(1.0, made.time, 1.0)
        masses = np.interp(times, made.trace.time, made.trace.beverage)
        found.append(
            Pulled(
                replace(double(dose=dose), ending=ending),
                time=made.time + chance.normal(0, 0.3),
                beverage=made.beverage + chance.normal(0, 0.2),
                tds=made.tds + chance.normal(0, 0.1),
                times=times,
                masses=masses + chance.normal(0, 0.2, times.size),
            )
        )
    return found


def test_known_parameters_come_back_from_noisy_shots() -> None:
    fit = fit_shots(pulled(1, TRUE))
    assert fit.names == NAMES
    off = fit.values - VALUES
    assert (np.abs(off) < 4 * fit.standard_errors).all()
    assert (fit.standard_errors < 0.12 * VALUES).all()
    # Mahalanobis distance: chi squared with 4 degrees of freedom, 99.9 % below 18.5.
    assert off @ np.linalg.solve(fit.covariance, off) < 18.5
    assert 0.6 < fit.misfit < 1.5
    assert np.allclose(fit.covariance, fit.covariance.T)


def test_a_fitted_station_predicts_a_shot_it_has_not_pulled() -> None:
    true = {name: value for name, value in TRUE.items() if name != "opening"}
    fit = fit_shots(pulled(2, true, PULLS[:2]), free=list(true), noise=Noise())
    new = replace(double(dose=20.0), ending=Ending(EndsBy.VOLUME, 52.0))
    truth = simulate(replace(double(dose=20.0, **true), ending=Ending(EndsBy.VOLUME, 52.0)))
    made = simulate(fit.applied(new))
    assert made.time == pytest.approx(truth.time, abs=0.5)
    assert made.beverage == pytest.approx(truth.beverage, abs=0.3)
    assert made.tds == pytest.approx(truth.tds, abs=0.2)


def test_noiseless_shots_give_the_parameters_themselves() -> None:
    made = simulate(double(grind=12.3))
    exact = Pulled(DOUBLE, time=made.time, beverage=made.beverage, tds=made.tds)
    fit = fit_shots([exact], free=["grind"])
    assert fit.values[0] == pytest.approx(12.3, rel=1e-3)


def test_what_shots_can_not_tell_is_said() -> None:
    # A puck that does not open as it dissolves runs as fast whatever dissolves.
    closed = double(opening=0.0)
    timed = [Pulled(closed, time=simulate(closed).time)] * 4
    with pytest.raises(QuantityError, match="tell apart"):
        fit_shots(timed, free=["grind", "slow_rate"])


@pytest.mark.parametrize(("shots", "free", "field"), [
    ([], ["grind"], "shots"),
    ([Pulled(DOUBLE, time=26.0)], ["grind", "opening"], "shots"),
    ([Pulled(DOUBLE, time=26.0)], [], "free"),
    ([Pulled(DOUBLE, time=26.0)], ["tamping"], "parameter"),
    ([Pulled(DOUBLE, time=float("nan"))], ["grind"], "time"),
    ([Pulled(DOUBLE, times=np.array([1.0, 2.0]), masses=np.array([1.0]))], ["grind"], "masses"),
    ([Pulled(DOUBLE, times=np.array([2.0, 1.0]), masses=np.array([1.0, 2.0]))], ["grind"], "times"),
])  # fmt: skip
def test_bad_input_is_named(shots: list[Pulled], free: list[str], field: str) -> None:
    with pytest.raises(QuantityError) as caught:
        fit_shots(shots, free=free)
    assert caught.value.field == field


def test_setup_of_a_fit_keeps_the_rest() -> None:
    made = simulate(DOUBLE)
    fit = fit_shots([Pulled(DOUBLE, time=made.time, tds=made.tds)], free=["grind"])
    other: Setup = fit.applied(double(dose=20.0))
    assert (other.puck.dose, other.plan) == (20.0, DOUBLE.plan)
