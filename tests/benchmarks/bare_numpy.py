"""The arithmetic of metrology as one would write it in bare NumPy: the limit to compare with.

No validation, no exactness, no words: floats in, the same arithmetic, plain results out.
"""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from stations.metrology.abilities import MachineAbilities, StationTraits
from stations.metrology.numbers import Floats

Mask = npt.NDArray[np.bool_]
Settings = dict[str, Decimal | str]

FIXED: Settings = {
    "preinfusion_time": Decimal("4.0"),
    "preinfusion_pressure": Decimal("3.0"),
    "rise_time": Decimal("2.0"),
    "intermediate_pressure": Decimal("7.0"),
    "brew_pressure": Decimal("9.0"),
    "taper_pressure": Decimal("6.0"),
    "ends_by": "volume",
}
# IAPWS R7-97, equation 31.
N = (
    *(0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5),
    *(-0.32325550322333e7, 0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6),
    *(-0.23855557567849, 0.65017534844798e3),
)


def translate(
    fleet: list[tuple[MachineAbilities, StationTraits]], volume: Floats | float = 70.0
) -> list[Settings]:
    """Return every station's settings for the formula of `tests.stations.metrology.bar`.

    ``volume`` [mL] is the water, the same for all or each station's own.
    """
    k, offset, altitude, u_k, repeat, u_offset = _columns(fleet)
    pulses, taper = np.floor(k * volume + 0.5), np.floor(k * volume * 0.92 + 0.5)
    shown = np.floor((93 - offset) / 0.1 + 0.5)
    expanded = 2 * np.sqrt((volume * u_k / k) ** 2 + repeat**2 + 1 / (12 * k**2))
    holds = np.abs(pulses / k - volume) + expanded <= 2
    holds &= np.abs(100 * taper / k / volume - 92) <= 1
    expanded = 2 * np.sqrt(u_offset**2 + 0.01 / 12)
    holds &= np.abs(shown * 0.1 + offset - 93) + expanded <= 0.5
    holds &= (pulses >= 10) & (pulses <= 900) & (taper >= 1) & (taper <= 900)
    holds &= (shown >= 800) & (shown <= 980) & (boiling(altitude) - 93 > 1)
    counts = zip(pulses.tolist(), taper.tolist(), shown.tolist(), strict=True)
    return [
        {
            "water_volume": Decimal(int(water)),
            "taper_start": Decimal(int(start)),
            "brew_temperature": Decimal(int(degrees)).scaleb(-1),
            **FIXED,
        }
        for (water, start, degrees), held in zip(counts, holds.tolist(), strict=True)
        if held
    ]


def _columns(fleet: list[tuple[MachineAbilities, StationTraits]]) -> list[Floats]:
    """Return the traits as float arrays."""
    names = [
        *("pulses_per_millilitre", "temperature_offset", "altitude"),
        *("slope_uncertainty", "repeatability", "offset_uncertainty"),
    ]
    return [np.array([float(getattr(traits, name)) for _, traits in fleet]) for name in names]


def boiling(altitude: Floats) -> Floats:
    """Return boiling points [°C] at geometric altitudes [m]."""
    height = 6_356_766.0 * altitude / (6_356_766.0 + altitude)
    pressure = 0.101325 * (1 - 0.0065 * height / 288.15) ** 5.2558797
    beta = pressure**0.25
    e = beta**2 + N[2] * beta + N[5]
    f = N[0] * beta**2 + N[3] * beta + N[6]
    g = N[1] * beta**2 + N[4] * beta + N[7]
    d = 2 * g / (-f - np.sqrt(f**2 - 4 * e * g))
    kelvin: Floats = (N[9] + d - np.sqrt((N[9] + d) ** 2 - 4 * (N[8] + N[9] * d))) / 2
    return kelvin - 273.15


def nelson(z: Floats) -> list[Mask]:
    """Return the points at which each of Nelson's eight rules is met, by sliding windows."""
    steps = np.diff(z)
    turns = steps[1:] * steps[:-1] < 0
    sides = (z > 0, z < 0)
    return [
        np.abs(z) > 3,
        _all(sides[0], 9) | _all(sides[1], 9),
        _all(steps > 0, 5) | _all(steps < 0, 5),
        _all(turns, 12),
        _some(z > 2, 2, 3) | _some(z < -2, 2, 3),
        _some(z > 1, 4, 5) | _some(z < -1, 4, 5),
        _all(np.abs(z) < 1, 15),
        _all(np.abs(z) > 1, 8) & ~_all(z > 1, 8) & ~_all(z < -1, 8),
    ]


def _all(inside: Mask, width: int) -> Mask:
    """Return the windows that are wholly inside."""
    return np.asarray(sliding_window_view(inside, width).all(axis=1))


def _some(inside: Mask, needed: int, width: int) -> Mask:
    """Return the windows with enough inside, the last among them."""
    counts = sliding_window_view(inside, width).sum(axis=1)
    found: Mask = (counts >= needed) & inside[width - 1 :]
    return found
