"""What a water's figures tell when some were not read: estimates, and how far off they may be."""

from __future__ import annotations

from dataclasses import dataclass

from stations.metrology.numbers import Real, number
from stations.metrology.water_units import CALCIUM_CARBONATE

# Dissolved solids [mg/L] per conductivity at 25 °C [µS/cm]. 0.64 makes the two ionic strengths that
# Standard Methods 2330 gives the same (solids / 40,000 and 1.6e-5 x conductivity; from memory). The
# span is that of natural waters, "usually between .55 and .75, the higher values generally being
# associated with high sulfate waters" (read at watercenter.org, which has it from Hem, US
# Geological Survey Water-Supply Paper 2254). River waters of the world lie between 0.6 and 0.9
# (Pawlowicz 2008, Limnology and Oceanography: Methods 6:489-501): those with much sulfate above it.
FACTOR, LOWEST_FACTOR, HIGHEST_FACTOR = 0.64, 0.55, 0.75
CHLORIDE = 35.45  # g/mol, standard atomic weight of chlorine (CIAAW, abridged)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value that was not read, and the span it is likely to lie in; same unit."""

    value: float
    low: float
    high: float


def solids_from_conductivity(conductivity: Real) -> Estimate:
    """Return the dissolved solids [mg/L] that a conductivity at 25 °C [µS/cm] speaks for.

    Raises BadValueError for one not above 0 or above 20,000 µS/cm.
    """
    read = number("conductivity", conductivity, "µS/cm", above=0.0, high=2e4)
    return Estimate(FACTOR * read, LOWEST_FACTOR * read, HIGHEST_FACTOR * read)


def chloride_to_alkalinity(chloride: Real, alkalinity: Real) -> float:
    """Return chloride over alkalinity in equivalents: what the Larson-Skold index is at least.

    ``chloride`` [mg/L], ``alkalinity`` [mg/L CaCO3]. The index, (chloride + sulfate) / (bicarbonate
    + carbonate), was found on mild steel in waters of the Great Lakes (Larson & Skold 1958; read
    at corrosion-doctors.org). Sulfate is not asked for, so that the whole can only be larger.
    Raises BadValueError for a negative chloride and an alkalinity not above 0.
    """
    salt = number("chloride", chloride, "mg/L", low=0.0, high=1e5) / CHLORIDE
    buffer = number("alkalinity", alkalinity, "mg/L CaCO3", above=0.0, high=1e4)
    return salt / (buffer / (CALCIUM_CARBONATE / 2.0))
