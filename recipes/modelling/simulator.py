"""The bar simulator: check shots as a station whose true parameters are known would pour them.

For the demo and for tests; shots of one setting share a few simulations, so that a morning of them
takes a moment.
"""

from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np

from recipes.brewing.shot_model.fit import Noise
from recipes.brewing.shot_model.parameters import Setup
from recipes.brewing.shot_model.reading import ends_of
from recipes.formula.formula import Formula
from recipes.modelling.nominal import setup_of
from stations.shots.judging import Weighed
from web.numbers import rounded

# How a barista's doses and a bar's shots scatter; common practice, no source.
DOSING = 0.12  # g, standard deviation
SCATTER = Noise(time=0.7, mass=0.45, tds=0.12)


@dataclass(frozen=True, slots=True)
class TrueStation:
    """What nobody at the bar can see: grind [um], water kept [g/g], slow extraction [1/s].

    ``refractometer``: after how many shots one has its dissolved solids measured; 0 for none.
    """

    grind: float
    absorbs: float
    slow_rate: float
    refractometer: int = 3

    def pull(self, formula: Formula, count: int, *, seed: int) -> list[Weighed]:
        """So many shots of the formula, weighed to a tenth; the same for the same seed.

        Raises QuantityError where the formula makes no shot.
        """
        chance, setup = np.random.default_rng(seed), self._applied(setup_of(formula).setup)
        doses = np.round(setup.puck.dose + chance.normal(0, DOSING, count), 1)
        setups = [replace(setup, puck=replace(setup.puck, dose=float(dose))) for dose in doses]
        spread = np.array([SCATTER.time, SCATTER.mass, SCATTER.tds])
        read = ends_of(setups) + chance.normal(0, 1, (count, 3)) * spread
        return [
            Weighed(rounded(dose, 1), rounded(beverage, 1), rounded(time, 1), self._tds(at, tds))
            for at, (dose, (time, beverage, tds)) in enumerate(zip(doses, read, strict=True))
        ]

    def _applied(self, setup: Setup) -> Setup:
        puck = replace(setup.puck, grind=self.grind, absorbs=self.absorbs)
        return replace(setup, puck=puck, coffee=replace(setup.coffee, slow_rate=self.slow_rate))

    def _tds(self, at: int, value: float) -> Decimal | None:
        taken = self.refractometer and at % self.refractometer == 0
        return rounded(value, 1) if taken else None
