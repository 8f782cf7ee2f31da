"""Similarity, d-prime and exact intervals against SciPy, statsmodels and simulated tasters."""

from decimal import Decimal
from fractions import Fraction
from math import comb, inf, sqrt

import numpy as np
import pytest
from scipy import integrate, stats
from statsmodels.stats.proportion import proportion_confint

from recipes.brewing.similarity import (
    most_correct,
    similarity_p_value,
    similarity_panel,
    similarity_power,
)
from recipes.brewing.taste import Method
from recipes.brewing.telling import correct_at, sensory_distance, share_of_answers

TWO = (Method.TRIANGLE, Method.DUO_TRIO)
FIVE = Decimal("0.05")


@pytest.mark.parametrize("method", TWO)
@pytest.mark.parametrize("n", [6, 17, 36, 60, 101])
@pytest.mark.parametrize("share", ["0.1", "0.3", "0.5"])
def test_similarity_is_scipys_test_against_fewer(method: Method, n: int, share: str) -> None:
    able, chance = float(share), float(method.chance)
    answer = chance + able * (1 - chance)
    values = [stats.binomtest(k, n, answer, alternative="less").pvalue for k in range(n + 1)]
    for k, value in enumerate(values):
        ours = float(similarity_p_value(method, n, k, Decimal(share)))
        assert ours == pytest.approx(value, rel=1e-9)
    few = [k for k, value in enumerate(values) if value <= 0.05]
    most = most_correct(method, n, FIVE, Decimal(share))
    assert most == (few[-1] if few else None)
    power = 0.0 if most is None else stats.binom.cdf(most, n, chance)
    assert similarity_power(method, n, FIVE, Decimal(share)) == pytest.approx(power, rel=1e-9)


def test_the_panel_for_the_same_near_enough() -> None:
    # AS 2542.2.4:2014 speaks of 72 tasters or so for similarity (references 4): of 72, 30 right
    # answers at most show that no more than 30 % can tell, and they do so mostly.
    assert most_correct(Method.TRIANGLE, 72, FIVE, Decimal("0.3")) == 30
    assert similarity_power(Method.TRIANGLE, 72, FIVE, Decimal("0.3")) > 0.9
    size = similarity_panel(Method.TRIANGLE, FIVE, 0.8, Decimal("0.3"))
    assert size.least is not None
    assert similarity_power(Method.TRIANGLE, size.least, FIVE, Decimal("0.3")) >= 0.8
    assert similarity_power(Method.TRIANGLE, size.least - 1, FIVE, Decimal("0.3")) < 0.8


@pytest.mark.parametrize(("n", "x"), [(30, 21), (12, 0), (12, 12), (1, 1), (200, 77)])
def test_the_exact_interval(n: int, x: int) -> None:
    """That of statsmodels by the beta distribution, and the definition: tails of 5 % each."""
    ours = share_of_answers(n, x)
    theirs = proportion_confint(x, n, alpha=0.10, method="beta")
    assert (ours.low, ours.high) == pytest.approx(theirs, abs=1e-9)

    def tail(p: float, counts: range) -> float:
        exact = Fraction(p)
        return float(sum(comb(n, k) * exact**k * (1 - exact) ** (n - k) for k in counts))

    assert x == 0 or tail(ours.low, range(x, n + 1)) == pytest.approx(0.05, abs=1e-9)
    assert x == n or tail(ours.high, range(x + 1)) == pytest.approx(0.05, abs=1e-9)


@pytest.mark.parametrize("d", [0.0, 0.5, 1.0, 2.0, 3.0])
def test_a_triangle_at_a_distance_is_the_integral_of_thurstones_model(d: float) -> None:
    # Ennis (1993, J. Sens. Stud. 8:353), the integral from memory.
    def density(z: float) -> float:
        near = stats.norm.cdf(-z * sqrt(3) + d * sqrt(2 / 3))
        far = stats.norm.cdf(-z * sqrt(3) - d * sqrt(2 / 3))
        return float(2 * (near + far) * stats.norm.pdf(z))

    by_integral = integrate.quad(density, 0, inf)[0]
    assert correct_at(Method.TRIANGLE, d) == pytest.approx(by_integral, abs=1e-8)


@pytest.mark.parametrize(("method", "printed"), [
    # Ennis (1993), right answers at a d-prime of 1 and 2: from memory.
    (Method.TRIANGLE, (0.418, 0.605)), (Method.DUO_TRIO, (0.583, 0.747)),
    (Method.PAIRED_ONE_SIDED, (0.760, 0.921)),
])  # fmt: skip
def test_printed_shares_of_right_answers(method: Method, printed: tuple[float, float]) -> None:
    assert (correct_at(method, 1.0), correct_at(method, 2.0)) == pytest.approx(printed, abs=6e-4)


@pytest.mark.parametrize("method", list(Method))
def test_simulated_tasters_are_right_as_often(method: Method) -> None:
    """Tasters who perceive with an error of 1 and choose as the method says: 400,000 of them."""
    d, count = 1.5, 400_000
    a, b = np.random.default_rng(20261128).normal(size=(2, 2, count))
    b = b + d
    if method is Method.TRIANGLE:  # two of A and one of B: it is odd if those two are the nearest
        right = np.abs(a[0] - a[1]) < np.minimum(np.abs(a[0] - b[0]), np.abs(a[1] - b[0]))
    elif method is Method.DUO_TRIO:  # the first of A is the reference
        right = np.abs(a[0] - a[1]) < np.abs(a[0] - b[0])
    else:
        right = b[0] > a[0]
    assert correct_at(method, d) == pytest.approx(right.mean(), abs=4 * 0.5 / sqrt(count))


def test_the_distance_gives_back_the_share_it_came_from() -> None:
    found, share = sensory_distance(Method.TRIANGLE, 36, 18), share_of_answers(36, 18)
    for distance, part in ((found.value, share.value), (found.high, share.high)):
        assert distance is not None
        assert correct_at(Method.TRIANGLE, distance) == pytest.approx(part, abs=1e-9)
    # 21 of 30 that prefer one: the normal deviate of 0.7 times the root of 2.
    paired = sensory_distance(Method.PAIRED_ONE_SIDED, 30, 21)
    assert paired.value == pytest.approx(stats.norm.ppf(0.7) * sqrt(2), abs=1e-9)
    assert sensory_distance(Method.DUO_TRIO, 10, 10).value is None
    assert sensory_distance(Method.DUO_TRIO, 10, 5).value == 0.0
