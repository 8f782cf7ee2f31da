"""Wald's sequential test of a share: shot after shot, until enough of them say one or the other.

A. Wald, Sequential Analysis (Wiley, 1947), chapter 5: of two stated shares, which one is it? As few
shots as any test with the same risks needs, on average (Wald and Wolfowitz, 1948). His averages
leave out how far the last shot overshoots a line; `expected` counts every path instead.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from math import ceil, floor, log
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from recipes.brewing.errors import QuantityError, exact

Paths = npt.NDArray[np.float64]
LEAST, MOST = Decimal("0.01"), Decimal("0.995")
APART = Decimal("0.05")
MOST_SHOTS = (
    20_000  # what is left undecided by then is less than `LEFT` for every test allowed here
)
LEFT = 1e-9
SAME = 1e-9  # a line that is touched is crossed, whatever the last bit says


@dataclass(frozen=True, slots=True)
class SequentialTest:
    """Shares inside tolerance if all is ``well`` and if it is ``ill``, and the two risks.

    ``hold_risk`` is of holding what is well, ``pass_risk`` of passing what is ill. Exact decimals:
    shares from 0.01 to 0.995 and 0.05 apart at least, risks from 0.01 to 0.3. Raises QuantityError.
    """

    well: Decimal
    ill: Decimal
    hold_risk: Decimal
    pass_risk: Decimal

    def __post_init__(self) -> None:
        """Check every figure."""
        exact("well", self.well, least=LEAST, most=MOST)
        exact("ill", self.ill, least=LEAST, most=MOST)
        if self.well - self.ill < APART:
            raise QuantityError("ill", self.ill, f"at most {self.well - APART:f}")
        for name in ("hold_risk", "pass_risk"):
            exact(name, getattr(self, name), least=Decimal("0.01"), most=Decimal("0.3"))


class Lines(NamedTuple):
    """How many shots may be out of tolerance after n of them.

    It passes with slope·n - passes or fewer, and fails with slope·n + fails or more. In shots.
    """

    slope: float
    passes: float
    fails: float

    def most_to_pass(self, shots: int) -> int:
        """So many outside or fewer pass after these shots; negative while none are few enough."""
        return floor(self.slope * shots - self.passes + SAME)

    def least_to_fail(self, shots: int) -> int:
        """So many outside or more fail after these shots; more than there are while none are."""
        return ceil(self.slope * shots + self.fails - SAME)


class Expected(NamedTuple):
    """Probability that it passes, and shots on average, at one true share inside tolerance."""

    passes: float
    shots: float


def decision_lines(test: SequentialTest) -> Lines:
    """The two straight lines between which the test goes on (Wald 1947, 5:9 to 5:11)."""
    out_well, out_ill = 1 - float(test.well), 1 - float(test.ill)
    hold, let = float(test.hold_risk), float(test.pass_risk)
    one_inside = log((1 - out_well) / (1 - out_ill))
    apart = log(out_ill / out_well) + one_inside
    return Lines(one_inside / apart, log((1 - hold) / let) / apart, log((1 - let) / hold) / apart)


class Judged(NamedTuple):
    """What shots so far say: ``passed`` is None while they say nothing yet.

    ``shots`` were looked at and ``outside`` of them out of tolerance: those up to the decision.
    """

    passed: bool | None
    shots: int
    outside: int


def judge_sequence(test: SequentialTest, outside: Iterable[bool]) -> Judged:
    """Judge shots in the order they were pulled in; none after the decision is looked at."""
    lines = decision_lines(test)
    shots = out = 0
    for one in outside:
        shots, out = shots + 1, out + bool(one)
        if out >= lines.least_to_fail(shots):
            return Judged(False, shots, out)
        if out <= lines.most_to_pass(shots):
            return Judged(True, shots, out)
    return Judged(None, shots, out)


def wald_average(test: SequentialTest, *, well: bool) -> float:
    """Shots on average if all is well, or ill, by Wald's approximation (1947, 5:18 and A:72)."""
    hold, let = float(test.hold_risk), float(test.pass_risk)
    out_well, out_ill = 1 - float(test.well), 1 - float(test.ill)
    share, fails = (out_well, hold) if well else (out_ill, 1 - let)
    each = share * log(out_ill / out_well) + (1 - share) * log((1 - out_ill) / (1 - out_well))
    return (fails * log((1 - let) / hold) + (1 - fails) * log(let / (1 - hold))) / each


def expected(test: SequentialTest, inside: Decimal) -> Expected:
    """What the test does where this share of shots is inside tolerance (0.01 to 0.995), exactly.

    Every path between the lines is counted, until `LEFT` of them are left or `MOST_SHOTS` pulled.
    Raises QuantityError naming inside.
    """
    return _expected(test, 1 - float(exact("inside", inside, least=LEAST, most=MOST)))


@lru_cache(maxsize=256)
def _expected(test: SequentialTest, out: float) -> Expected:
    lines, paths = decision_lines(test), np.ones(1)
    passes = shots = 0.0
    for number in range(1, MOST_SHOTS + 1):
        shots += float(paths.sum())  # whoever has not decided yet pulls one more
        paths = _one_more(paths, out)
        low, high = lines.most_to_pass(number), lines.least_to_fail(number)
        passes += float(paths[: max(0, low + 1)].sum())
        paths[: max(0, low + 1)] = 0.0
        paths = paths[:high]
        if paths.sum() < LEFT:
            break
    return Expected(passes, shots)


def _one_more(paths: Paths, out: float) -> Paths:
    """Probability of so many outside after one shot more, of those not decided yet."""
    after = np.zeros(len(paths) + 1)
    after[:-1] = paths * (1 - out)
    after[1:] += paths * out
    return after
