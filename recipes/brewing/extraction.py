"""Extraction yield with its uncertainty, and on which basis the dose is counted."""

from __future__ import annotations

import math
from dataclasses import dataclass

from recipes.brewing.errors import real

MOST_MASS = 100_000.0  # g


@dataclass(frozen=True, slots=True)
class Measured:
    """A measured value and its standard uncertainty, in the value's unit."""

    value: float
    u: float = 0.0


@dataclass(frozen=True, slots=True)
class Yield:
    """Extraction yield in % of the dose, its standard uncertainty `u` and each part's share.

    `shares` are the parts of u squared that dose, beverage and TDS bring; they add up to 1
    (all 0 where nothing is uncertain).
    """

    percent: float
    u: float
    shares: tuple[float, float, float]

    def expanded(self, k: float = 2.0) -> float:
        """Expanded uncertainty k x u in percentage points. Raises QuantityError naming k."""
        return real("k", k, least=0.0, most=10.0) * self.u


def extraction_yield(dose: Measured, beverage: Measured, tds: Measured) -> Yield:
    """Yield = beverage x TDS / dose, with rel. u squared the sum of the three (GUM 5.1.6).

    dose, beverage in g; TDS in % by mass; uncertainties standard and independent. 18.0 +- 0.1 g,
    36.0 +- 0.1 g, 9.80 +- 0.05 % → 19.60 %, u 0.158 percentage points (references 6.2). Raises
    QuantityError naming dose, beverage, tds or the uncertainty of one.
    """
    d, b, t = _part("dose", dose), _part("beverage", beverage), _part("tds", tds, most=100.0)
    percent = b.value * t.value / d.value
    squares = [(part.u / part.value) ** 2 for part in (d, b, t)]
    total = sum(squares)
    shares = [one / total if total else 0.0 for one in squares]
    return Yield(percent, percent * math.sqrt(total), (shares[0], shares[1], shares[2]))


def dry_basis(percent: float, moisture: float) -> float:
    """A yield on the dose as weighed, restated on the dry dose: percent / (1 - moisture).

    Both in %, moisture of the ground coffee from 0 to 20. 19.60 % at 2 % moisture is 20.00 % of
    the dry dose (references 6.3). Raises QuantityError naming percent or moisture.
    """
    weighed = real("percent", percent, least=0.0, most=100.0)
    return weighed / (1.0 - real("moisture", moisture, least=0.0, most=20.0) / 100.0)


def _part(field: str, given: Measured, most: float = MOST_MASS) -> Measured:
    value = real(field, given.value, least=1e-3, most=most)
    return Measured(value, real(f"{field} uncertainty", given.u, least=0.0, most=value))
