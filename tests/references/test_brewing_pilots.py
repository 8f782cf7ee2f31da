"""Tests of shares: Wald's sequential test, acceptance by a count, Fisher's exact test."""

from decimal import Decimal

import numpy as np
import pytest
from scipy import stats

from recipes.brewing.acceptance import CountTest, expected_count, judge_count
from recipes.brewing.errors import QuantityError
from recipes.brewing.sequential import (
    SequentialTest,
    decision_lines,
    expected,
    judge_sequence,
    wald_average,
)
from recipes.brewing.worse import Shots, chance_to_hold, could_tell, worse_p_value

RUNS = 10_000
NIST = SequentialTest(Decimal("0.99"), Decimal("0.90"), Decimal("0.05"), Decimal("0.10"))
USUAL = SequentialTest(Decimal("0.95"), Decimal("0.80"), Decimal("0.05"), Decimal("0.10"))
FIVE = Decimal("0.05")


def test_lines_of_nists_example() -> None:
    """NIST e-Handbook 6.2.6: 1 % and 10 % outside, risks 5 % and 10 %; figures from memory."""
    lines = decision_lines(NIST)
    assert (round(lines.slope, 2), round(lines.passes, 3), round(lines.fails, 3)) == (
        0.04, 0.939, 1.205,
    )  # fmt: skip
    assert [lines.most_to_pass(shots) for shots in (23, 24)] == [-1, 0]
    assert [lines.least_to_fail(shots) for shots in (2, 19, 20)] == [2, 2, 3]  # 1.96, 2.0003


@pytest.mark.parametrize("test", [NIST, USUAL])
@pytest.mark.parametrize("well", [True, False])
def test_risks_and_average_against_wald_and_10000_runs(test: SequentialTest, well: bool) -> None:
    share = test.well if well else test.ill
    foretold = expected(test, share)
    rng = np.random.default_rng(20261129)
    judged = [judge_sequence(test, rng.random(2_000) >= float(share)) for _ in range(RUNS)]
    passed = np.array([each.passed for each in judged], dtype=bool)
    shots = np.array([each.shots for each in judged])
    error = np.sqrt(foretold.passes * (1 - foretold.passes) / RUNS)
    assert abs(passed.mean() - foretold.passes) < 4 * error
    assert abs(shots.mean() - foretold.shots) < 4 * shots.std() / np.sqrt(RUNS)
    # Wald, 3:19: a/(1 - b) and b/(1 - a) are never exceeded; his averages lack the overshoot.
    hold, let = float(test.hold_risk), float(test.pass_risk)
    wrong = 1 - foretold.passes if well else foretold.passes
    assert wrong <= (hold / (1 - let) if well else let / (1 - hold))
    approximate = wald_average(test, well=well)
    assert approximate < foretold.shots < 1.5 * approximate


@pytest.mark.parametrize(("shots", "inside"), [(1, 1), (10, 9), (20, 18), (50, 45)])
@pytest.mark.parametrize("share", [0.0, 0.6, 0.9, 1.0])
def test_a_count_passes_as_the_binomial_says(shots: int, inside: int, share: float) -> None:
    test = CountTest(shots, inside)
    found = expected_count(test, share)
    assert found.passes == pytest.approx(1 - stats.binom.cdf(inside - 1, shots, share))
    rng = np.random.default_rng(12)
    runs = [judge_count(test, rng.random(shots) >= share) for _ in range(2_000)]
    pulled = np.array([each.shots for each in runs])
    assert abs(pulled.mean() - found.shots) <= 4 * pulled.std() / np.sqrt(len(runs)) + 1e-9
    assert all(each.passed is not None for each in runs)


def test_two_of_twenty_as_printed() -> None:
    """Printed tables of the binomial have P(X <= 2) = 0.6769 for n = 20, p = 0.10; from memory."""
    assert round(expected_count(CountTest(20, 18), 0.9).passes, 4) == 0.6769


def test_fishers_twins() -> None:
    """The convictions in R's fisher.test, after Fisher: 2 of 17 and 10 of 13; p from memory."""
    found = worse_p_value(Shots(17, 2), Shots(13, 10))
    assert float(found) == pytest.approx(0.0004652, abs=5e-8)


@pytest.mark.parametrize("before", [(12, 1), (40, 4), (7, 0), (300, 20)])
@pytest.mark.parametrize("after", [(20, 5), (10, 0), (8, 8)])
def test_worse_is_scipys_one_sided_test(before: tuple[int, int], after: tuple[int, int]) -> None:
    table = [[after[1], after[0] - after[1]], [before[1], before[0] - before[1]]]
    witness = stats.fisher_exact(table, alternative="greater").pvalue
    assert float(worse_p_value(Shots(*before), Shots(*after))) == pytest.approx(witness)


def test_the_chance_to_hold_is_that_of_10000_pairs_of_weeks() -> None:
    rng = np.random.default_rng(7)
    pairs = rng.binomial(20, [0.05, 0.3], (RUNS, 2))
    held = [worse_p_value(Shots(20, int(a)), Shots(20, int(b))) <= FIVE for a, b in pairs]
    foretold = chance_to_hold(20, FIVE, Decimal("0.95"), Decimal("0.7"))
    assert abs(np.mean(held) - foretold) < 4 * np.sqrt(foretold * (1 - foretold) / RUNS)
    for share in ("0.5", "0.8", "0.95"):
        assert chance_to_hold(20, FIVE, Decimal(share), Decimal(share)) <= 0.05


def test_too_few_shots_of_the_week_before_tell_nothing() -> None:
    assert not could_tell(Shots(0, 0), 20, FIVE)
    assert not could_tell(Shots(40, 40), 20, FIVE)
    assert could_tell(Shots(20, 1), 20, FIVE)


def test_shares_too_close_are_refused() -> None:
    with pytest.raises(QuantityError) as raised:
        SequentialTest(Decimal("0.95"), Decimal("0.94"), FIVE, FIVE)
    assert raised.value.field == "ill"
