"""Puck flow against references 6.16 to 6.19 and the fluids library."""

import math

import pytest
from fluids.packed_bed import Ergun

from recipes.brewing.shot_model.parameters import Machine, Puck
from recipes.brewing.shot_model.puck import BREWING_HECTOPASCALS, Bed, darcy_flow, permeability
from stations.metrology.fluid import viscosity


@pytest.mark.parametrize(("porosity", "diameter", "k"), [
    (0.4, 100.0, 9.8765e-12), (0.17, 40.0, 6.339e-14),
])  # fmt: skip
def test_kozeny_carman(porosity: float, diameter: float, k: float) -> None:
    # references 6.18 (computed there; constant 180)
    assert permeability(diameter, porosity) == pytest.approx(k, rel=1e-4)


def test_darcy_of_a_modern_double() -> None:
    # references 6.17: 1.6 mL/s, 0.30394 mPa s, 18.7 mm, 29.2 mm, 9 bar: k = 3.772e-15 m2
    area = math.pi * 0.0292**2
    assert darcy_flow(3.772e-15, area, 9.0, 0.30394, 0.0187) == pytest.approx(1.6, rel=5e-4)
    assert darcy_flow(1e-14, area, 9.0, 0.30394, 0.0187) == pytest.approx(4.24, abs=5e-3)


@pytest.mark.parametrize("diameter", [8.0, 11.0, 40.0])
def test_ergun_of_the_fluids_library_where_flow_is_laminar(diameter: float) -> None:
    # fluids 1.3 Ergun: its laminar constant is 150, Kozeny and Carman's 180 (references 6.18);
    # at a Reynolds number of 1e-4 the inertial term is nothing
    porosity, mu, length, flow = 0.17, 0.30394, 0.0187, 1e-3
    area = math.pi * 0.0292**2
    drop = Ergun(dp=diameter * 1e-6, voidage=porosity, vs=flow * 1e-6 / area, rho=963.7,
                 mu=mu * 1e-3, L=length)  # fmt: skip
    k = permeability(diameter, porosity)
    made = darcy_flow(k, area, drop / 1e5 * 180 / 150, mu, length)
    assert made == pytest.approx(flow, rel=1e-4)


def test_the_fluids_library_s_own_example() -> None:
    # references 6.19: docstring of fluids.packed_bed.Ergun
    drop = Ergun(dp=8e-4, voidage=0.4, vs=1e-3, rho=1e3, mu=1e-3, L=1.0)
    assert drop == pytest.approx(1338.8671875)


def test_default_puck_is_of_published_magnitude() -> None:
    # references 6.16 and 6.17: 1e-15 to 1e-13 m2; depth 18.7 mm at 20 g (6.13, from memory)
    puck = Puck()
    assert 1e-15 < permeability(puck.grind, puck.porosity) < 1e-13
    assert Puck(dose=20.0).depth == pytest.approx(0.0187, rel=2e-3)
    assert viscosity(93.0, BREWING_HECTOPASCALS) == pytest.approx(0.30397, abs=2e-5)  # 1.8


def test_conductance_is_darcy_s_law_per_bar() -> None:
    puck = Puck(swelling=0.0, opening=0.0)
    k = permeability(puck.grind, puck.porosity)
    flow = darcy_flow(k, puck.area, 1.0, 0.30397, puck.depth)
    made = Bed(puck, Machine()).conductance(1.0, 0.0)
    assert made == pytest.approx(flow * 0.9636854, rel=1e-4)  # density: references 1.8
