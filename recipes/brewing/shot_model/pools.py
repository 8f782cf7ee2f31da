"""Two-pool extraction: solids that dissolve at once and solids that have to diffuse out.

d(pool)/dt = - rate x pool x (1 - x / saturation) x wetted, with x the solids per water in the puck
(a linear driving force; two pools as in Moroney et al. 2015, from memory). Rates follow the water's
diffusivity, T / mu (Stokes and Einstein), and the slow one the grain: 1 / d^2.
"""

from __future__ import annotations

from recipes.brewing.shot_model.parameters import Coffee, Machine, Puck
from recipes.brewing.shot_model.puck import BREWING_HECTOPASCALS
from stations.metrology.fluid import KELVIN, viscosity

REFERENCE_TEMPERATURE = 93.0  # °C
REFERENCE_GRIND = 11.0  # um
AT_ONCE = 5.0  # 1/s; what is dissolved within half a second may as well take that long


class Pools:
    """The rates of one shot. `start` are the grams in the fast and slow pool."""

    def __init__(self, puck: Puck, coffee: Coffee, machine: Machine) -> None:
        warm = _diffusivity(machine.temperature) / _diffusivity(REFERENCE_TEMPERATURE)
        finer = (REFERENCE_GRIND / puck.grind) ** 2
        self._fast_rate = min(coffee.fast_rate * warm, AT_ONCE)
        self._slow_rate = min(coffee.slow_rate * warm * finer, AT_ONCE)
        self._saturation = coffee.saturation
        self.soluble = coffee.soluble * puck.dose
        self.start = (self.soluble * coffee.fast, self.soluble * (1.0 - coffee.fast))

    def dissolving(
        self, fast: float, slow: float, strength: float, wetted: float
    ) -> tuple[float, float]:
        """g/s leaving each pool at `strength` [g of solids per g of water in the puck]."""
        drive = max(1.0 - strength / self._saturation, 0.0) * wetted
        return self._fast_rate * fast * drive, self._slow_rate * slow * drive

    def extracted(self, fast: float, slow: float) -> float:
        """Share of the solubles that has left the grounds."""
        return (self.soluble - fast - slow) / self.soluble


def _diffusivity(temperature: float) -> float:
    """T / mu, up to a constant."""
    return (temperature + KELVIN) / viscosity(temperature, BREWING_HECTOPASCALS)
