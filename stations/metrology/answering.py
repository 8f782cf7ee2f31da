"""How a station's shots answer to grind and dose: a regression with intervals, robust to a slip."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts load when first used: together they take seconds

from stations.metrology.errors import BadValueError
from stations.metrology.numbers import Floats, number

COVERAGE = 0.95
FEWEST = 1  # degrees of freedom: the interval is as wide as that is little
ENOUGH = 4  # of them, before one shot can be told from the others
# A column that hardly varies tells nothing of its slope; marks, g and g. No source: what a scale
# and a collar can show.
LEAST_SPREAD = (1e-3, 0.03, 0.2)
SLIP = 0.01  # Bonferroni-adjusted p-value from which on a shot is set aside
MOST_SLIPS = 0.1  # of the shots; more of them are no slips


@dataclass(frozen=True, slots=True)
class Pull:
    """One shot as the regression takes it.

    ``group``: shots that share all but grind and dose, such as settings and lot. ``finer``: the
    grinder's mark counted so that more is finer. ``dose`` [g]. ``other``: what the response goes
    with by itself, such as the beverage mass [g]. ``response``: the time [s], or where time ends
    the shot the beverage mass. Raises BadValueError naming what is no plain number.
    """

    group: int
    finer: float
    dose: float
    other: float
    response: float

    def __post_init__(self) -> None:
        for name in ("finer", "dose", "other", "response"):
            # Kept as a float, whatever number it came as: the regression computes with it.
            value = number(name, getattr(self, name), low=-1e6, high=1e6)
            object.__setattr__(self, name, value)

    @property
    def row(self) -> tuple[float, float, float]:
        """The three that the response answers to."""
        return (self.finer, self.dose, self.other)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Answer:
    """Slopes per mark finer, per g of dose and per unit of the other, 0 where it can't be told.

    ``covariance`` is theirs; ``spread`` the residual standard deviation with ``dof`` degrees of
    freedom, from ``used`` shots, with ``aside`` set aside. ``centres``: each group's number of
    shots and means (of the three, and of the response).
    """

    slopes: Floats
    covariance: Floats
    spread: float
    dof: int
    used: int
    aside: int
    centres: dict[int, tuple[int, Floats, float]]

    @property
    def reach(self) -> float:
        """Student's t for a two-sided interval."""
        return float(scipy.stats.t.ppf(0.5 + COVERAGE / 2, self.dof))

    def effect(self, marks: float, grams: float = 0.0) -> Estimate:
        """What so many marks finer and g more do to the mean response, in its unit.

        c'b with variance c'Vc and Student's t (JCGM 100, 5.2 and G.3). Raises BadValueError.
        """
        moved = np.array([number("marks", marks), number("grams", grams), 0.0])
        return self._interval(float(moved @ self.slopes), float(moved @ self.covariance @ moved))

    def level(self, pull: Pull) -> tuple[Estimate, Estimate] | None:
        """The mean response under the same conditions, and that of one further shot.

        None where its group has no shot.
        """
        centre = self.centres.get(pull.group)
        if centre is None:
            return None
        count, means, response = centre
        off = np.array(pull.row) - means
        value = response + float(off @ self.slopes)
        variance = self.spread**2 / count + float(off @ self.covariance @ off)
        return self._interval(value, variance), self._interval(value, variance + self.spread**2)

    def _interval(self, value: float, variance: float) -> Estimate:
        half = self.reach * math.sqrt(max(variance, 0.0))
        return Estimate(value, value - half, value + half)


def fit_answer(pulls: Sequence[Pull]) -> Answer | None:
    """Fit one set of slopes to all groups, each with a level of its own; None with too few shots.

    Ordinary least squares within groups. Shots whose externally studentised residual is beyond
    chance (Bonferroni-adjusted p below 0.01; Cook & Weisberg 1982, 2.2.2) are set aside, the
    farthest first, at most a tenth of them. Raises BadValueError for what is no Pull.
    """
    if not all(isinstance(pull, Pull) for pull in pulls):
        raise BadValueError("pulls", "something else", "shots")
    kept = list(pulls)
    while True:
        fitted = _fit(kept, len(pulls) - len(kept))
        worst = fitted and _slip(*fitted)
        room = len(pulls) - len(kept) < int(MOST_SLIPS * len(pulls))
        if fitted is None or worst is None or not room:
            return fitted[0] if fitted else None
        del kept[worst]


def _fit(pulls: list[Pull], aside: int) -> tuple[Answer, Floats, Floats] | None:
    """The fit, residuals and leverages."""
    if not pulls:
        return None
    names, whose = np.unique([pull.group for pull in pulls], return_inverse=True)
    counts = np.bincount(whose)
    x, y = np.array([pull.row for pull in pulls]), np.array([pull.response for pull in pulls])
    sums = np.zeros((names.size, 3))
    np.add.at(sums, whose, x)
    means, levels = sums / counts[:, None], np.bincount(whose, weights=y) / counts
    dx, dy = x - means[whose], y - levels[whose]
    told = _told(dx)
    dof = len(pulls) - names.size - len(told)
    if 0 not in told or dof < FEWEST:
        return None
    inverse = np.linalg.pinv(dx[:, told].T @ dx[:, told])
    found = inverse @ (dx[:, told].T @ dy)
    residuals = dy - dx[:, told] @ found
    spread = math.sqrt(float(residuals @ residuals) / dof)
    slopes, covariance = np.zeros(3), np.zeros((3, 3))
    slopes[told], covariance[np.ix_(told, told)] = found, spread**2 * inverse
    leverages = 1 / counts[whose] + np.einsum("ij,jk,ik->i", dx[:, told], inverse, dx[:, told])
    centres = {
        int(name): (int(counts[at]), means[at], float(levels[at])) for at, name in enumerate(names)
    }
    answer = Answer(slopes, covariance, spread, dof, len(pulls), aside, centres)
    return answer, residuals, leverages


def _told(dx: Floats) -> list[int]:
    """The columns that vary, each told apart from those before it."""
    told: list[int] = []
    for at, least in enumerate(LEAST_SPREAD):
        tried = dx[:, [*told, at]]
        if dx.shape[0] < 2 or float(dx[:, at].std()) < least:
            continue
        scaled = tried / tried.std(axis=0)
        if np.linalg.matrix_rank(scaled, tol=0.05 * math.sqrt(dx.shape[0])) == len(told) + 1:
            told.append(at)
    return told


def _slip(answer: Answer, residuals: Floats, leverages: Floats) -> int | None:
    """The place of the shot that belongs to something else; None where none is beyond chance."""
    if answer.dof < ENOUGH or answer.spread < 1e-9:
        return None
    room = np.maximum(1.0 - leverages, 1e-9)
    squares = answer.spread**2 * answer.dof - residuals**2 / room
    without = np.sqrt(np.maximum(squares, 1e-18) / (answer.dof - 1))
    size = np.where(room > 1e-6, np.abs(residuals) / (without * np.sqrt(room)), 0.0)
    place = int(size.argmax())
    p_value = 2 * float(scipy.stats.t.sf(size[place], answer.dof - 1)) * residuals.size
    return place if p_value < SLIP else None
