"""How shots answer to grind and dose, against the same regression by statsmodels."""

import numpy as np
import pytest
import statsmodels.api as sm

from stations.metrology.answering import Pull, fit_answer


def pulls(groups: int, each: int, seed: int) -> list[Pull]:
    """Shots of several lots, their slopes known."""
    rng = np.random.default_rng(seed)
    made = []
    for group in range(groups):
        for _ in range(each):
            mark, dose = float(rng.integers(-3, 4)), 18 + rng.normal(0, 0.15)
            cup = 36 + rng.normal(0, 0.9)
            time = 27 + group + 1.8 * mark + 4 * (dose - 18) + 0.5 * (cup - 36)
            made.append(Pull(group, mark, dose, cup, time + rng.normal(0, 0.8)))
    return made


@pytest.mark.parametrize("groups", [1, 3])
def test_slopes_and_intervals_are_those_of_statsmodels(groups: int) -> None:
    """Levels as dummy columns: the same least squares (Frisch-Waugh-Lovell)."""
    shots = pulls(groups, 9, seed=5 + groups)
    answer = fit_answer(shots)
    assert answer
    assert answer.aside == 0
    levels = np.array([[float(each.group == one) for one in range(groups)] for each in shots])
    columns = np.column_stack([np.array([each.row for each in shots]), levels])
    by = sm.OLS(np.array([each.response for each in shots]), columns).fit()
    assert answer.dof == by.df_resid
    assert answer.slopes == pytest.approx(by.params[:3], rel=1e-9)
    assert answer.covariance == pytest.approx(by.cov_params()[:3, :3], rel=1e-8)
    for marks, grams in ((1.0, 0.0), (-2.0, 0.1)):
        held = by.t_test(np.array([marks, grams, *[0.0] * (1 + groups)]))
        told = answer.effect(marks, grams)
        assert told.value == pytest.approx(float(held.effect[0]))
        assert (told.low, told.high) == pytest.approx(tuple(held.conf_int()[0]))


def test_the_level_of_a_group_is_that_of_statsmodels() -> None:
    shots = pulls(2, 8, seed=11)
    answer = fit_answer(shots)
    assert answer
    levels = np.array([[float(each.group == one) for one in (0, 1)] for each in shots])
    columns = np.column_stack([np.array([each.row for each in shots]), levels])
    by = sm.OLS(np.array([each.response for each in shots]), columns).fit()
    held = by.get_prediction(np.array([[1.0, 18.1, 35.0, 0.0, 1.0]])).summary_frame(alpha=0.05)
    found = answer.level(Pull(1, 1.0, 18.1, 35.0, 0.0))
    assert found
    mean, one = found
    assert (mean.value, mean.low, mean.high) == pytest.approx(
        tuple(held[["mean", "mean_ci_lower", "mean_ci_upper"]].iloc[0])
    )
    assert (one.low, one.high) == pytest.approx(
        tuple(held[["obs_ci_lower", "obs_ci_upper"]].iloc[0])
    )
