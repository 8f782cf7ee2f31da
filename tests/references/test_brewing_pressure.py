"""Published brewing pressures are ordinary plans, and so is the trade's own example."""

import pytest

from recipes.brewing.plan_check import check_plan
from recipes.brewing.pressure_plan import PressurePlan


@pytest.mark.parametrize("bar", [
    8.0, 9.0, 10.0,  # 9 ± 1: the Italian institute's espresso, secondary sources (references 6.10)
    7.0, 11.0,  # 9 ± 2: the textbook definition, from memory (references 6.11)
    9.5,  # 9 to 10: Cameron et al. 2020, Matter 2:631-648, introduction (references 6.12)
])  # fmt: skip
def test_published_pressures_are_ordinary(bar: float) -> None:
    assert check_plan(PressurePlan(brew_pressure=bar)) == []


def test_the_trade_s_own_plan_is_ordinary() -> None:
    # Line pressure for 4 s, a rise of 2 s by 7 bar to 9 bar, taper from 92 % of the water:
    # common practice, no source.
    plan = PressurePlan(
        brew_pressure=9.0, preinfusion_time=4.0, preinfusion_pressure=3.0, rise_time=2.0,
        intermediate_pressure=7.0, taper_start=92.0, taper_pressure=6.0,
    )  # fmt: skip
    assert check_plan(plan) == []
    assert check_plan(PressurePlan(brew_pressure=4.0)) != []
