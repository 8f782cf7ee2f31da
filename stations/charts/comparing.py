"""A station's shots against the recipe's tolerance, and against another station's."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from stations.metrology.capability import Capability, capability
from stations.metrology.equivalence import Equivalence, equivalence, shots_needed
from stations.metrology.errors import BadValueError
from stations.shots.judging import cup_of
from stations.shots.models import CheckShot
from web.numbers import Bounds, rounded

PLACES = 2
MARGIN = Bounds(Decimal("0.01"), Decimal(100), places=2)
USUAL_MARGIN = Decimal(1)  # in the value's unit; common practice, no source


def limits_of(shots: Sequence[CheckShot], code: str) -> tuple[Decimal | None, Decimal | None]:
    """The recipe's limits for the value, as the newest shot was held against."""
    limits = cup_of(shots[-1].placement).get(code, {}) if shots else {}
    target, below, above = (limits.get(name) for name in ("target", "below", "above"))
    lower = Decimal(target) - Decimal(below) if target and below else None
    return lower, Decimal(target) + Decimal(above) if target and above else None


def capability_of(shots: Sequence[CheckShot], code: str) -> Capability | None:
    """Cp and Cpk against the recipe's tolerance; None without one, or without spread."""
    lower, upper = limits_of(shots, code)
    if lower is None and upper is None:
        return None
    try:
        return capability([getattr(shot, code) for shot in shots], lower=lower, upper=upper)
    except BadValueError:
        return None


@dataclass(frozen=True, slots=True)
class Sameness:
    """Whether two stations pour the same, against a margin in the value's unit."""

    code: str
    margin: Decimal
    result: Equivalence
    means: tuple[Decimal, Decimal]
    spread: float  # one standard deviation of a shot, both stations' together

    @property
    def low(self) -> Decimal:
        """The interval's lower end."""
        return rounded(self.result.interval[0], PLACES)

    @property
    def high(self) -> Decimal:
        """The interval's upper end."""
        return rounded(self.result.interval[1], PLACES)

    @property
    def difference(self) -> Decimal:
        """The first station's mean less the other's."""
        return rounded(self.result.difference, PLACES)

    @property
    def shots_needed(self) -> int | None:
        """Shots at each that would show it if they truly pour alike; None where it is settled."""
        if self.result.conclusion != "not shown yet":
            return None
        return shots_needed(self.margin, self.spread)

    @property
    def p(self) -> Decimal:
        """The larger of the two one-sided p-values."""
        return rounded(self.result.p_value, 4)


def sameness(
    one: Sequence[CheckShot], other: Sequence[CheckShot], code: str, margin: Decimal
) -> Sameness | None:
    """Two one-sided Welch tests; None while either has fewer than two shots that differ."""
    sides = [[getattr(shot, code) for shot in side] for side in (one, other)]
    try:
        result = equivalence(sides[0], sides[1], low_margin=-margin, high_margin=margin)
    except BadValueError:
        return None
    means = [rounded(float(sum(side)) / len(side), PLACES) for side in sides]
    spread = float(np.sqrt(np.mean([np.var(np.array(side, float), ddof=1) for side in sides])))
    return Sameness(code, margin, result, (means[0], means[1]), spread)
