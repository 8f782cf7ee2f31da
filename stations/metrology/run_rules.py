"""Run rules of control charts: patterns too regular to be chance, each by its name.

Western Electric (1956) W1 to W4 and Nelson (1984) N1 to N8. Inequalities are strict: a point
exactly on a limit lies within it. "Six in a row increasing" means six points, five steps; equal
neighbours break N3 and N4. N5 and N6 count only at a point that itself lies in the zone.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from stations.metrology.charts import Baseline
from stations.metrology.errors import BadValueError
from stations.metrology.numbers import Floats, series

Mask = npt.NDArray[np.bool_]


class RunRule(StrEnum):
    """The rules by name; the value is the name shown and stored."""

    W1 = "W1"
    W2 = "W2"
    W3 = "W3"
    W4 = "W4"
    N1 = "N1"
    N2 = "N2"
    N3 = "N3"
    N4 = "N4"
    N5 = "N5"
    N6 = "N6"
    N7 = "N7"
    N8 = "N8"


MEANING = {
    RunRule.W1: "one point beyond 3 sigma",
    RunRule.W2: "two of three points beyond 2 sigma on one side",
    RunRule.W3: "four of five points beyond 1 sigma on one side",
    RunRule.W4: "eight points in a row on one side of the centre",
    RunRule.N1: "one point beyond 3 sigma",
    RunRule.N2: "nine points in a row on one side of the centre",
    RunRule.N3: "six points in a row rising or falling",
    RunRule.N4: "fourteen points in a row going up and down by turns",
    RunRule.N5: "two of three points beyond 2 sigma on one side",
    RunRule.N6: "four of five points beyond 1 sigma on one side",
    RunRule.N7: "fifteen points in a row within 1 sigma",
    RunRule.N8: "eight points in a row beyond 1 sigma, on both sides",
}
WESTERN_ELECTRIC = (RunRule.W1, RunRule.W2, RunRule.W3, RunRule.W4)
NELSON = tuple(rule for rule in RunRule if rule.value.startswith("N"))


@dataclass(frozen=True, slots=True)
class Signal:
    """A rule met, and the position (from 1) of the point that completes the pattern."""

    rule: RunRule
    position: int

    @property
    def meaning(self) -> str:
        """Return the rule in words."""
        return MEANING[self.rule]


def standardised(values: Floats, baseline: Baseline) -> Floats:
    """Return (x - centre) / sigma. Raises BadValueError for values that aren't finite."""
    return (series("values", values) - baseline.centre) / baseline.sigma


def find_signals(z: Floats, rules: Collection[RunRule]) -> list[Signal]:
    """Return every completed pattern, by position and then by rule.

    ``z`` are standardised points, in the order of the shots. Raises BadValueError for points that
    aren't finite and for a rule that isn't one of `RunRule`.
    """
    found = [
        Signal(rule, int(place) + 1)
        for rule, mask in masks(z, rules).items()
        for place in np.flatnonzero(mask)
    ]
    order = list(RunRule)
    return sorted(found, key=lambda signal: (signal.position, order.index(signal.rule)))


def masks(z: Floats, rules: Collection[RunRule]) -> dict[RunRule, Mask]:
    """Return for each rule whether each point completes its pattern; errors as `find_signals`."""
    points = series("z", z)
    for rule in rules:
        if not isinstance(rule, str) or rule not in CHECKS:
            raise BadValueError("rule", rule, ", ".join(RunRule))
    return {RunRule(rule): CHECKS[RunRule(rule)](points) for rule in rules}


def _beyond_3(z: Floats) -> Mask:
    """Return the points beyond 3 sigma."""
    return np.abs(z) > 3.0


def _of_last(inside: Mask, needed: int, width: int) -> Mask:
    """Return the points that are inside and complete ``needed`` of the last ``width``."""
    counts = inside.astype(np.int8)
    total = counts.copy()
    for back in range(1, min(width, inside.size)):
        total[back:] += counts[:-back]
    return (total >= needed) & inside


def _in_a_row(inside: Mask, length: int) -> Mask:
    """Return the points that end a run of at least ``length`` points inside."""
    # Runs of 1, 2, 4 … points, each from two overlapping or adjoining halves.
    row, covered = inside.copy(), 1
    while covered < length:
        step = min(covered, length - covered)
        longer = np.zeros_like(row)
        longer[step:] = row[step:] & row[:-step]
        row, covered = longer, covered + step
    return row


def _either_side(z: Floats, limit: float, check: Callable[[Mask], Mask]) -> Mask:
    """Return the points that a check finds above +limit or below -limit."""
    return check(z > limit) | check(z < -limit)


def _two_of_three(z: Floats) -> Mask:
    """Return the points that complete two of three beyond 2 sigma on one side."""
    return _either_side(z, 2.0, lambda inside: _of_last(inside, 2, 3))


def _four_of_five(z: Floats) -> Mask:
    """Return the points that complete four of five beyond 1 sigma on one side."""
    return _either_side(z, 1.0, lambda inside: _of_last(inside, 4, 5))


def _one_side(length: int) -> Callable[[Floats], Mask]:
    """Return the check for a run on one side of the centre."""
    return lambda z: _either_side(z, 0.0, lambda inside: _in_a_row(inside, length))


def _trend(z: Floats) -> Mask:
    """Return the points that end six rising or six falling points."""
    steps = np.diff(z, prepend=z[:1])
    return _either_side(steps, 0.0, lambda inside: _in_a_row(inside, 5))


def _by_turns(z: Floats) -> Mask:
    """Return the points that end fourteen points (twelve turns) of alternating direction."""
    signs = np.sign(np.diff(z, prepend=z[:1])).astype(np.int8)
    turns = np.zeros(z.size, dtype=bool)
    turns[1:] = signs[1:] * signs[:-1] < 0
    return _in_a_row(turns, 12)


def _hugging(z: Floats) -> Mask:
    """Return the points that end fifteen points within 1 sigma."""
    return _in_a_row(np.abs(z) < 1.0, 15)


def _avoiding(z: Floats) -> Mask:
    """Return the points that end eight points beyond 1 sigma, with both sides among them."""
    above, below = _in_a_row(z > 1.0, 8), _in_a_row(z < -1.0, 8)
    return _in_a_row(np.abs(z) > 1.0, 8) & ~above & ~below


CHECKS: dict[RunRule, Callable[[Floats], Mask]] = {
    RunRule.W1: _beyond_3,
    RunRule.W2: _two_of_three,
    RunRule.W3: _four_of_five,
    RunRule.W4: _one_side(8),
    RunRule.N1: _beyond_3,
    RunRule.N2: _one_side(9),
    RunRule.N3: _trend,
    RunRule.N4: _by_turns,
    RunRule.N5: _two_of_three,
    RunRule.N6: _four_of_five,
    RunRule.N7: _hugging,
    RunRule.N8: _avoiding,
}
