"""Causes told apart: each measure answers to its own, and alarms are as rare as is said."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.regression.linear_model import OLS
from statsmodels.stats.diagnostic import recursive_olsresiduals

from stations.metrology.causes import (
    RUN_LENGTH,
    TESTS,
    Cause,
    Curves,
    above_set,
    grind_columns,
    kept_by_meter,
    largest_drop,
    resistance,
)
from stations.metrology.run_lengths import average_run_length, decision_for
from stations.metrology.self_starting import Reference, Sums, follow, rank_score, score

SHOTS = 4000


def scores(values: np.ndarray, columns: np.ndarray) -> list[float]:
    """Shot by shot."""
    reference, found = Reference.of(columns.shape[1]), []
    for row, value in zip(columns, values, strict=True):
        scored = score(reference, [float(each) for each in row], float(value))
        reference = scored.after
        if scored.score is not None:
            found.append(scored.score)
    return found


def test_scores_are_normal_and_independent_from_the_first() -> None:
    # 200 stations of 60 shots: about half the scores are from references of fewer than 40 shots.
    chance = np.random.default_rng(7)
    found = np.array([scores(chance.normal(5.0, 0.4, 60), np.ones((60, 1))) for _ in range(200)])
    assert found.shape == (200, 49)
    assert stats.kstest(found.ravel(), "norm").pvalue > 0.01
    assert abs(np.corrcoef(found[:, :-1].ravel(), found[:, 1:].ravel())[0, 1]) < 0.02


def test_dose_and_age_are_explained_away() -> None:
    chance = np.random.default_rng(8)
    dose, age = chance.normal(18.0, 0.3, SHOTS), np.arange(SHOTS) % 200 / 10.0
    columns = np.array([grind_columns(d, a) for d, a in zip(dose, age, strict=True)])
    values = columns @ np.array([1.4, 2.0, -0.15]) + chance.normal(0.0, 0.02, SHOTS)
    found = scores(values, columns)
    assert stats.kstest(found, "norm").pvalue > 0.01


def test_recursive_residuals_are_those_of_statsmodels() -> None:
    chance = np.random.default_rng(9)
    columns = np.column_stack([np.ones(12), chance.normal(size=12), chance.normal(size=12)])
    values = chance.normal(size=12)
    reference, squares = Reference.of(3), []
    for row, value in zip(columns, values, strict=True):
        reference = score(reference, [float(each) for each in row], float(value)).after
        squares.append(reference.square)
    found = recursive_olsresiduals(OLS(values, columns).fit(), skip=3)[4]
    theirs = np.asarray(found)[-9:]
    assert np.diff(squares)[-9:] == pytest.approx(theirs**2)


def test_what_never_varied_is_not_guessed() -> None:
    reference = Reference.of(2)
    for value in np.linspace(1.0, 1.1, 15):
        reference = score(reference, (1.0, 0.0), float(value)).after
    new = score(reference, (1.0, 0.5), 9.0)
    assert (new.residual, new.score) == (None, None)


def test_one_spilt_cup_raises_no_alarm_and_spoils_no_reference() -> None:
    chance = np.random.default_rng(10)
    reference = Reference.of(1)
    for value in chance.normal(2.0, 0.1, 50):
        reference = score(reference, (1.0,), float(value)).after
    spilt = score(reference, (1.0,), 9.0)
    assert spilt.score == 3.0
    assert spilt.after.spread < 1.2 * reference.spread


def test_false_alarms_come_as_seldom_as_is_said() -> None:
    # The same sums with a decision interval of 4, so that alarms are many enough to be counted:
    # self-starting, winsorised, on both sides.
    chance, runs = np.random.default_rng(11), []
    expected = average_run_length(4.0, winsor=3.0) / 2
    for _ in range(12):
        sums, run = Sums(), 0
        for each in scores(chance.normal(0.0, 1.0, 1500), np.ones((1500, 1))):
            sums, run = follow(sums, each), run + 1
            if max(sums.high, sums.low) > 4.0:
                runs.append(run)
                sums, run = Sums(), 0
    assert np.mean(runs) == pytest.approx(expected, rel=3 / np.sqrt(len(runs)))


def test_ranks_need_no_distribution() -> None:
    # Skewed as the largest of many is: the scores of ranks are even all the same.
    chance = np.random.default_rng(12)
    before: list[float] = []
    found: list[float] = []
    for value in chance.gumbel(0.05, 0.02, SHOTS):
        if (one := rank_score(before[-200:], float(value))) is not None:
            found.append(one)
        before.append(float(value))
    assert np.mean(found) == pytest.approx(0.0, abs=0.05)
    assert np.std(found) == pytest.approx(1.0, abs=0.05)


def test_the_decision_is_that_of_the_run_length() -> None:
    both, one = TESTS[Cause.METER], TESTS[Cause.CHANNEL]
    assert one.decision == pytest.approx(decision_for(RUN_LENGTH, winsor=3.0), abs=0.005)
    assert both.decision == pytest.approx(decision_for(2 * RUN_LENGTH, winsor=3.0), abs=0.005)
    for test, sides in ((one, 1), (both, 2)):
        length = average_run_length(test.decision, winsor=3.0) / sides
        assert length == pytest.approx(RUN_LENGTH, rel=0.01)
    assert both.delay(1.0) == pytest.approx(21.1, abs=0.1)
    assert both.delay(2.0) == pytest.approx(7.9, abs=0.1)


def curves(opens: float = 0.0, times: float = 1.0) -> Curves:
    """28 s at 9 bar, of a puck that loses 10 % by leaching, and opens at 15 s by a share."""
    t = np.arange(0.0, 28.0, 0.5)
    pressure = np.minimum(9.0, 0.5 + 4.0 * t)
    held = times * 4.0 * (1.0 - 0.1 * t / 28.0) * np.where(t >= 15.0, 1.0 - opens, 1.0)
    return Curves(t, pressure, pressure / held, np.full(t.size, 93.4))


def test_a_channel_is_a_drop_and_leaching_is_none() -> None:
    quiet, opened = largest_drop(curves()), largest_drop(curves(opens=0.3))
    assert quiet is not None
    assert opened is not None
    assert quiet < 0.02
    assert opened == pytest.approx(-np.log(0.7), abs=0.02)


def test_each_measure_answers_to_its_own_cause() -> None:
    finer = curves(times=1.1)
    assert resistance(finer) == pytest.approx((resistance(curves()) or 0) + np.log(1.1), abs=1e-9)
    assert largest_drop(finer) == pytest.approx(largest_drop(curves()), abs=1e-9)
    assert above_set(finer.temperature, None, 93.0) == pytest.approx(0.4)
    assert kept_by_meter(80.0, 40.3, 18.0) == pytest.approx(2.2, abs=0.01)
    assert kept_by_meter(0.0, 40.0, 18.0) is None


def test_without_curves_nothing_is_said() -> None:
    bare = Curves.of({"t": [0.0, 1.0], "mass": [0.0, 1.0]})
    assert (resistance(bare), largest_drop(bare)) == (None, None)
    assert above_set(bare.temperature, None, 93.0) is None
    assert above_set(bare.temperature, 92.0, 93.0) == -1.0
