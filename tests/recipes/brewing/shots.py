"""Setups for tests of the shot model."""

from dataclasses import replace

from hypothesis import strategies as st

from recipes.brewing.pressure_plan import PressurePlan
from recipes.brewing.shot_model.parameters import (
    COFFEE_RANGES,
    MACHINE_RANGES,
    PUCK_RANGES,
    Coffee,
    Ending,
    EndsBy,
    Machine,
    Puck,
    Setup,
)

ORDINARY = PressurePlan(
    preinfusion_time=4.0, preinfusion_pressure=3.0, rise_time=2.0, intermediate_pressure=7.0,
    brew_pressure=9.0, taper_start=92.0, taper_pressure=6.0,
)  # fmt: skip
DOUBLE = Setup(ORDINARY, Ending(EndsBy.VOLUME, 57.0))

plans = st.builds(
    PressurePlan, brew_pressure=st.floats(4, 11), preinfusion_time=st.floats(0, 8),
    preinfusion_pressure=st.floats(0, 4), rise_time=st.floats(0, 4),
    intermediate_pressure=st.none() | st.floats(2, 9),
    taper_start=st.floats(60, 100), taper_pressure=st.floats(2, 9),
)  # fmt: skip
endings = st.one_of(
    st.builds(Ending, st.just(EndsBy.VOLUME), st.floats(30, 120)),
    st.builds(Ending, st.just(EndsBy.MASS), st.floats(10, 80)),
    st.builds(Ending, st.just(EndsBy.TIME), st.floats(1, 60)),
)
pucks = st.builds(
    Puck, dose=st.floats(7, 25), grind=st.floats(7, 25), absorbs=st.floats(0.5, 1.3),
    swelling=st.floats(0, 0.7), opening=st.floats(0, 2),
)  # fmt: skip
coffees = st.builds(
    Coffee, soluble=st.floats(0.2, 0.34), fast=st.floats(0, 1), fast_rate=st.floats(0.1, 2),
    slow_rate=st.floats(0, 0.3), saturation=st.floats(0.15, 0.5),
)  # fmt: skip
machines = st.builds(
    Machine, free_flow=st.floats(3, 12), headspace=st.floats(1, 12), temperature=st.floats(85, 97)
)
setups = st.builds(
    Setup, plan=plans, ending=endings, puck=pucks, coffee=coffees, machine=machines,
    water=st.none() | st.floats(30, 120),
)  # fmt: skip


anything = st.builds(
    Setup,
    plan=st.builds(
        PressurePlan, brew_pressure=st.floats(0, 15), preinfusion_time=st.floats(0, 120),
        preinfusion_pressure=st.floats(0, 15), rise_time=st.floats(0, 120),
        intermediate_pressure=st.none() | st.floats(0, 15), taper_start=st.floats(0, 100),
        taper_pressure=st.floats(0, 15),
    ),
    ending=st.builds(Ending, st.sampled_from(EndsBy), st.floats(0.1, 2000)),
    puck=st.builds(Puck, **{name: st.floats(*ends) for name, ends in PUCK_RANGES.items()}),
    coffee=st.builds(Coffee, **{name: st.floats(*ends) for name, ends in COFFEE_RANGES.items()}),
    machine=st.builds(Machine, **{name: st.floats(*ends) for name, ends in MACHINE_RANGES.items()}),
)  # fmt: skip


def double(**changes: float) -> Setup:
    """The ordinary double with other values of its puck, coffee, machine or brewing pressure."""
    made = DOUBLE
    for name, value in changes.items():
        for part in ("puck", "coffee", "machine", "plan"):
            if hasattr(getattr(made, part), name):
                made = replace(made, **{part: replace(getattr(made, part), **{name: value})})
    return made
