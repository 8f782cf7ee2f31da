"""Whether a rounded setting still holds its tolerance, with what the calibration leaves open."""

from __future__ import annotations

from decimal import Decimal

from stations.metrology.abilities import Quantity, StationTraits
from stations.metrology.rounding import EXACT

COVERAGE = Decimal(2)  # k = 2, about 95 % (JCGM 100:2008, 6.2 and G.6.6)
TWELVE = Decimal(12)
ZERO = Decimal(0)


def holds(deviation: Decimal, expanded: Decimal, quantity: Quantity) -> bool:
    """Return whether ``deviation`` ± ``expanded`` stays inside the quantity's tolerance.

    All three in the parameter's unit. A side without a stated tolerance always holds.
    """
    if quantity.above is not None and deviation + expanded > quantity.above:
        return False
    return quantity.below is None or expanded - deviation <= quantity.below


def volume_expanded(volume: Decimal, traits: StationTraits) -> Decimal:
    """Return the expanded uncertainty (k = 2) [mL] of a volume metered by pulses.

    U = 2 √[(V u(K)/K)² + s² + (1/K)²/12]: slope, repeatability, and the whole pulse within
    which the water stops (uniform over one pulse; JCGM 100:2008, 4.3.7). Zero where neither the
    slope's uncertainty nor the repeatability is known: then only the rounding can be judged.
    """
    slope = traits.pulses_per_millilitre
    if slope is None or (traits.slope_uncertainty is None and traits.repeatability is None):
        return ZERO
    by_slope = volume * (traits.slope_uncertainty or ZERO) / slope
    by_spread = traits.repeatability or ZERO
    variance = by_slope * by_slope + by_spread * by_spread + 1 / (slope * slope * TWELVE)
    return COVERAGE * EXACT.sqrt(variance)


def temperature_expanded(resolution: Decimal, traits: StationTraits) -> Decimal:
    """Return the expanded uncertainty (k = 2) [°C] of a temperature set through an offset.

    U = 2 √[u(offset)² + r²/12] with r the machine's resolution, within which its display rounds.
    Zero where the offset's uncertainty is not known.
    """
    if traits.offset_uncertainty is None:
        return ZERO
    spread = traits.offset_uncertainty
    return COVERAGE * EXACT.sqrt(spread * spread + resolution * resolution / TWELVE)
