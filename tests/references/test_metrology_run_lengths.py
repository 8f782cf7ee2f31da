"""Run lengths of CUSUM charts against published tables, formulas and simulation."""

import numpy as np
import pytest

from stations.metrology.run_lengths import (
    average_run_length,
    decision_for,
    siegmund,
    two_sided,
)

# NIST/SEMATECH e-Handbook 6.3.2.3.1, k = 0.5, one-sided: run lengths without a shift and with one
# of one sigma, as another project's reference data quotes the page.
QUOTED = [(4, 0.0, 336.0), (5, 0.0, 930.0), (4, 1.0, 8.38), (5, 1.0, 10.4)]
# The rest of that table, from memory.
REMEMBERED = [
    (4, 0.5, 26.6), (4, 0.75, 13.3), (4, 1.5, 4.75), (4, 2.0, 3.34), (4, 3.0, 2.19),
    (5, 0.5, 38.0), (5, 0.75, 17.0), (5, 1.5, 5.75), (5, 2.0, 4.01), (5, 3.0, 2.57),
]  # fmt: skip


@pytest.mark.parametrize(("decision", "shift", "printed"), QUOTED + REMEMBERED)
def test_nist_cusum_run_lengths(decision: float, shift: float, printed: float) -> None:
    assert average_run_length(decision, shift=shift) == pytest.approx(printed, rel=0.004)


def test_both_sides_of_montgomery() -> None:
    # Montgomery, Introduction to Statistical Quality Control, table 9.3 (k 0.5): h 4 gives 168, h 5
    # gives 465 (the second as other projects quote it, the first half of NIST's 336).
    for decision, printed in ((4, 168.0), (5, 465.0)):
        one = average_run_length(decision)
        assert two_sided(one, one) == pytest.approx(printed, rel=0.003)


def test_siegmund_is_near() -> None:
    for decision in (3.0, 5.0, 9.0):
        for shift in (0.0, 0.5, 1.0):
            exact = average_run_length(decision, shift=shift)
            assert siegmund(decision, shift=shift) == pytest.approx(exact, rel=0.04)


def test_cutting_so_far_out_that_nothing_is_cut_changes_nothing() -> None:
    # Two methods for one number: quadrature, and the chain of Brook and Evans.
    for decision in (4.0, 9.0):
        chain = average_run_length(decision, winsor=9.0)
        assert chain == pytest.approx(average_run_length(decision), rel=1e-3)


def test_a_decision_gives_its_run_length() -> None:
    for wanted in (370.0, 1e5):
        for winsor in (3.0, 50.0):
            found = decision_for(wanted, winsor=winsor)
            assert average_run_length(found, winsor=winsor) == pytest.approx(wanted, rel=5e-3)


@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_simulated_runs_are_as_long(shift: float) -> None:
    # 4,000 runs of winsorised scores, one fixed seed; their mean is uncertain by 1/√4000.
    chance, decision = np.random.default_rng(20261129), 4.0
    lengths = np.zeros(4000)
    sums, going = np.zeros(4000), np.ones(4000, dtype=bool)
    while going.any():
        cut = np.clip(chance.normal(shift, 1.0, int(going.sum())), -3.0, 3.0)
        lengths[going] += 1
        sums[going] = np.maximum(0.0, sums[going] + cut - 0.5)
        going &= sums <= decision
    expected = average_run_length(decision, shift=shift, winsor=3.0)
    assert lengths.mean() == pytest.approx(expected, rel=0.05)
