"""Flow through the puck (Kozeny-Carman, Darcy), what the source can give, and what dissolves."""

from __future__ import annotations

from dataclasses import dataclass

from recipes.brewing.errors import real
from recipes.brewing.shot_model.parameters import Coffee, Machine, Puck
from stations.metrology.fluid import KELVIN, density, viscosity

BREWING_HECTOPASCALS = 10_013.25  # 9 bar gauge, absolute; what pressure changes is 0.01 %
# Q [mL/s] = k [m2] A [m2] p [bar] / (mu [mPa s] L [m]) x this: 1e5 Pa, 1e-3 Pa s, 1e6 mL.
DARCY_UNITS = 1e14
REFERENCE_TEMPERATURE = 93.0  # °C
REFERENCE_GRIND = 11.0  # um
AT_ONCE = 5.0  # 1/s; what is dissolved within half a second may as well take that long
DRY = 1e-6  # wetted share below which the front is taken to stand at the top


def permeability(diameter: float, porosity: float) -> float:
    """Kozeny-Carman: k [m2] = phi^3 d^2 / (180 (1 - phi)^2), d in um (references 6.18).

    Raises QuantityError naming diameter (0.1 to 10,000 um) or porosity (0.001 to 0.999).
    """
    grain = real("diameter", diameter, least=0.1, most=10_000.0)
    phi = real("porosity", porosity, least=0.001, most=0.999)
    return phi**3 * (grain * 1e-6) ** 2 / (180.0 * (1.0 - phi) ** 2)


def darcy_flow(k: float, area: float, drop: float, mu: float, length: float) -> float:
    """Flow [mL/s] through k [m2], area [m2], pressure drop [bar], mu [mPa s], length [m].

    Raises QuantityError naming what is not a number of a puck's order of size.
    """
    leads = real("k", k, least=0.0, most=1.0)
    wide = real("area", area, least=0.0, most=10.0)
    pressed = real("drop", drop, least=0.0, most=1e6)
    thick = real("mu", mu, least=1e-3, most=1e6)
    deep = real("length", length, least=1e-4, most=10.0)
    return leads * wide * pressed / (thick * deep) * DARCY_UNITS


@dataclass(frozen=True, slots=True)
class Source:
    """Pump or water line: `free_flow` [g/s] against nothing, none against `limit` [bar]."""

    free_flow: float
    limit: float

    def meets(self, conductance: float, asked: float) -> tuple[float, float]:
        """Pressure [bar] and flow [g/s] into a conductance [g/s/bar] when `asked` [bar] is wanted.

        The source holds what is asked as far as it can; else puck and source find their balance.
        """
        if asked <= 0.0:
            return 0.0, 0.0
        balance = self.free_flow / (conductance + self.free_flow / self.limit)
        held = min(asked, balance)
        return held, conductance * held


class Bed:
    """The puck's conductance as it wets and dissolves, and the two sources that feed it."""

    def __init__(self, puck: Puck, machine: Machine) -> None:
        mu = viscosity(machine.temperature, BREWING_HECTOPASCALS)
        hot = density(machine.temperature, BREWING_HECTOPASCALS)
        dry = permeability(puck.grind, puck.porosity)
        grams = hot / 1000.0
        # g/s per bar of a bed neither swollen nor opened, wet through.
        self._base = darcy_flow(dry, puck.area, 1.0, mu, puck.depth) * grams
        self._swelling, self._opening = puck.swelling, puck.opening
        cold = machine.meter_density / 1000.0
        self.pump = Source(machine.free_flow * cold, machine.pump_limit)
        self.line = Source(machine.line_flow * cold, machine.line_limit)

    def conductance(self, wetted: float, extracted: float) -> float:
        """g/s per bar: `wetted` share of the depth passed by the front, `extracted` of solubles.

        Only the wetted depth resists. Swelling lowers the permeability as the bed wets, leaving
        solids raise it.
        """
        share = min(max(wetted, DRY), 1.0)
        change = (1.0 - self._swelling * share) * (1.0 + self._opening * extracted)
        return self._base * change / share


class Pools:
    """Two-pool extraction: solids that dissolve at once and solids that have to diffuse out.

    d(pool)/dt = - rate x pool x (1 - x / saturation) x wetted, with x the solids per water in the
    puck (a linear driving force; two pools as in Moroney et al. 2015, from memory). Rates follow
    the water's diffusivity, T / mu (Stokes and Einstein), and the slow one the grain: 1 / d^2.
    `start` are the grams in the fast and slow pool of one shot.
    """

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
