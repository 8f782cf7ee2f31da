"""Judge a brew temperature against the boiling point at the station's site."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

from stations.metrology import refusals
from stations.metrology.abilities import StationTraits
from stations.metrology.atmosphere import local_boiling_point
from stations.metrology.formula import ParameterRule, Stated
from stations.metrology.translation import Flag, Notice, Refusal, Setting, params

# Weather moves the air pressure by some 20 hPa (common practice, no source), and with it the
# boiling point by some 0.6 °C (IAPWS-IF97): a margin up to that may be gone on another day.
BY_WEATHER = Decimal("0.6")
SMALL_MARGIN = Decimal(1)
CLEAR_MARGIN = 1.001  # beyond doubt above the small margin, whatever floats round
TENTH = Decimal("0.1")


def temperature_flags(
    stated: Stated, rule: ParameterRule, traits: StationTraits
) -> tuple[Flag, ...]:
    """Return what a temperature is flagged for at a station; errors as `judge_boiling`."""
    flags = []
    if traits.temperature_offset is None:
        flags.append(refusals.no_offset(rule))
    boiling = judge_boiling(stated.target or Decimal(0), rule, traits)
    return tuple(flags if boiling is None else [*flags, boiling])


def by_policy(
    outcome: Setting | Refusal, flags: tuple[Flag, ...], *, refuse: bool
) -> tuple[Setting | Refusal, tuple[Flag, ...]]:
    """Turn a flag above boiling into a refusal where the owner's policy refuses it."""
    above = [flag for flag in flags if flag.kind is Notice.ABOVE_BOILING]
    if not (refuse and above and isinstance(outcome, Setting)):
        return outcome, flags
    kept = tuple(flag for flag in flags if flag.kind is not Notice.ABOVE_BOILING)
    return refusals.above_boiling(above[0]), kept


def judge_boiling(target: Decimal, rule: ParameterRule, traits: StationTraits) -> Flag | None:
    """Return a flag for a target [°C] above, at or within 1 °C of local boiling, else None.

    A name is needed for one above boiling, or so near below it that weather may take it there.
    Without altitude and barometer reading the flag says that boiling can't be judged. Raises
    BadValueError for an altitude outside -2,000 to 11,000 m or a reading outside 220 to 1,300 hPa.
    """
    if traits.altitude is None and traits.air_pressure is None:
        return Flag(rule.code, Notice.ALTITUDE_UNKNOWN)
    point = local_boiling_point(traits.altitude, traits.air_pressure)
    if point > float(target) + CLEAR_MARGIN:
        return None
    boiling = Decimal(point)
    margin = boiling - target
    if margin > SMALL_MARGIN:
        return None
    kind = Notice.ABOVE_BOILING if margin < 0 else Notice.NEAR_BOILING
    by_barometer = traits.air_pressure is not None
    gap = abs(margin).quantize(TENTH, ROUND_HALF_UP)
    given = params(
        target=target,
        boiling=boiling.quantize(TENTH, ROUND_HALF_UP),
        margin=gap,
        side="above" if margin < 0 else "below",
        altitude=None if by_barometer else traits.altitude,
        air_pressure=traits.air_pressure,
    )
    needed = kind is Notice.ABOVE_BOILING or gap <= BY_WEATHER
    return Flag(rule.code, kind, given, needs_acknowledgement=needed)
