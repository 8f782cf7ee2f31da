"""A station's temperature offset: what the group's water has more than the display shows."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from stations.metrology.errors import BadValueError
from stations.metrology.numbers import Real, number

FEWEST_READINGS = 2


@dataclass(frozen=True, slots=True)
class Reading:
    """One comparison: temperature displayed or set, and measured in the group's water [°C]."""

    displayed: Real
    measured: Real


@dataclass(frozen=True, slots=True)
class Offset:
    """A measured offset [°C], to be subtracted from a target to get the setting.

    ``uncertainty`` combines the mean's own (spread/√n, ``dof`` degrees of freedom) with the
    reference thermometer's.
    """

    value: float
    uncertainty: float
    spread: float
    dof: int

    @property
    def expanded(self) -> float:
        """Return the expanded uncertainty (k = 2) [°C]."""
        return 2.0 * self.uncertainty

    def stored(self) -> tuple[Decimal, Decimal]:
        """Return the offset and its standard uncertainty as decimals of three places [°C]."""
        return Decimal(f"{self.value:.3f}"), Decimal(f"{self.uncertainty:.3f}")


def measure_offset(readings: Iterable[Reading], *, thermometer_uncertainty: Real = 0.0) -> Offset:
    """Return the mean of measured minus displayed, with its standard uncertainty [°C].

    u² = s²/n + u(thermometer)² (JCGM 100:2008, 4.2.3 and 5.1.2). Raises BadValueError for fewer
    than 2 readings, temperatures outside 0 to 130 °C, and a negative uncertainty; the field
    names the reading ("reading 2 measured").
    """
    differences = [_difference(place, reading) for place, reading in enumerate(readings, 1)]
    if len(differences) < FEWEST_READINGS:
        allowed = f"at least {FEWEST_READINGS}"
        raise BadValueError("readings", f"{len(differences)} readings", allowed)
    reference = number("thermometer_uncertainty", thermometer_uncertainty, "°C", low=0.0, high=10.0)
    spread = float(np.std(differences, ddof=1))
    return Offset(
        value=float(np.mean(differences)),
        uncertainty=math.hypot(spread / math.sqrt(len(differences)), reference),
        spread=spread,
        dof=len(differences) - 1,
    )


def _difference(place: int, reading: Reading) -> float:
    """Return measured minus displayed of one reading."""
    name = f"reading {place}"
    shown = number(f"{name} displayed", reading.displayed, "°C", low=0.0, high=130.0)
    return number(f"{name} measured", reading.measured, "°C", low=0.0, high=130.0) - shown
