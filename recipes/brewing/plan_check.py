"""Says of a pressure plan that it is ordinary, or names what is odd about it.

Odd is not wrong: a head roaster may mean it. The bounds are common practice, no source, wide
enough for line pre-infusion and for the textbook's 9 bar give or take 2 (references 6.11).
"""

from __future__ import annotations

from dataclasses import dataclass

from recipes.brewing.pressure_plan import PressurePlan

FASTEST_RISE = 12.0  # bar/s; a pump's own start is slower
SETTLES = 0.05  # bar; smaller steps than a gauge shows


@dataclass(frozen=True, slots=True)
class Oddity:
    """What is odd: the parameter it hangs on, and a sentence."""

    field: str
    words: str


@dataclass(frozen=True, slots=True)
class _Usual:
    """The ordinary range of one parameter."""

    field: str
    low: float
    high: float
    unit: str


USUAL = (
    _Usual("preinfusion_time", 0.0, 15.0, "s"),
    _Usual("preinfusion_pressure", 0.0, 4.5, "bar"),
    _Usual("rise_time", 0.0, 12.0, "s"),
    _Usual("brew_pressure", 6.0, 11.0, "bar"),
    _Usual("taper_start", 60.0, 98.0, "% of the water"),
    _Usual("taper_pressure", 0.0, 9.0, "bar"),
)


def check_plan(plan: PressurePlan) -> list[Oddity]:
    """What is odd about the plan, in order of the shot; an empty list calls it ordinary."""
    return [*_ranges(plan), *_preinfusion(plan), *_rise(plan), *_taper(plan)]


def _ranges(plan: PressurePlan) -> list[Oddity]:
    found = []
    for usual in USUAL:
        value = getattr(plan, usual.field)
        if value is not None and not usual.low <= value <= usual.high:
            words = f"{value:g} {usual.unit}; usual is {usual.low:g} to {usual.high:g}"
            found.append(Oddity(usual.field, words))
    return found


def _preinfusion(plan: PressurePlan) -> list[Oddity]:
    if plan.preinfusion_time > 0 and plan.preinfusion_pressure < SETTLES:
        return [Oddity("preinfusion_pressure", "a pre-infusion without pressure wets nothing")]
    if plan.preinfusion_time == 0 and plan.preinfusion_pressure > SETTLES:
        return [Oddity("preinfusion_time", "a pre-infusion pressure, but no time for it")]
    return []


def _rise(plan: PressurePlan) -> list[Oddity]:
    middle, found = plan.intermediate_pressure, list[Oddity]()
    top = plan.brew_pressure
    if middle is not None and middle > top + SETTLES:
        words = f"{middle:g} bar lies above the brewing pressure of {top:g} bar"
        found.append(Oddity("intermediate_pressure", words))
    if middle is not None and middle < plan.preinfusion_pressure - SETTLES:
        words = f"{middle:g} bar lies below the pre-infusion's {plan.preinfusion_pressure:g} bar"
        found.append(Oddity("intermediate_pressure", words))
    if middle is not None and plan.rise_time == 0:
        found.append(Oddity("rise_time", "an intermediate pressure, but no time to pass it"))
    if plan.preinfusion_pressure > top + SETTLES:
        words = f"{plan.preinfusion_pressure:g} bar lies above the brewing pressure"
        found.append(Oddity("preinfusion_pressure", words))
    if plan.rise_time > 0:
        rate = abs(top - plan.preinfusion_pressure) / plan.rise_time
        if rate > FASTEST_RISE:
            found.append(Oddity("rise_time", f"{rate:.0f} bar/s is faster than a pump rises"))
    return found


def _taper(plan: PressurePlan) -> list[Oddity]:
    if plan.taper_pressure is None or plan.taper_pressure <= plan.brew_pressure + SETTLES:
        return []
    words = f"{plan.taper_pressure:g} bar lies above the brewing pressure: that is no taper"
    return [Oddity("taper_pressure", words)]
