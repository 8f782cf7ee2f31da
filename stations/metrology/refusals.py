"""What a translation refuses, as facts: the parameter, the kind, and the numbers it rests on."""

from __future__ import annotations

from collections.abc import Collection
from decimal import ROUND_HALF_UP, Decimal

from stations.metrology.abilities import ParameterAbility
from stations.metrology.formula import ParameterRule, Stated
from stations.metrology.translation import Flag, Notice, Params, Reason, Refusal, params

SHOWN = Decimal("0.001")


def missing(rule: ParameterRule) -> Refusal:
    """Return: this machine has no setting for the parameter."""
    return Refusal(rule.code, Reason.MISSING_ABILITY)


def out_of_range(
    rule: ParameterRule, target: Decimal, value: Decimal, ability: ParameterAbility
) -> Refusal:
    """Return: the setting is above or below what the machine can set."""
    given = params(target=target, setting=value, minimum=ability.minimum, maximum=ability.maximum)
    return Refusal(rule.code, Reason.OUT_OF_RANGE, given)


def too_coarse(
    rule: ParameterRule,
    stated: Stated,
    value: Decimal,
    ability: ParameterAbility,
    deviation: Decimal,
) -> Refusal:
    """Return: the nearest setting already misses the tolerance by its ``deviation``."""
    given = params(setting=value, resolution=ability.resolution, deviation=_shown(deviation))
    return Refusal(rule.code, Reason.TOO_COARSE, (*_wanted(stated), *given))


def too_uncertain(
    rule: ParameterRule, stated: Stated, deviation: Decimal, expanded: Decimal
) -> Refusal:
    """Return: rounding and the calibration's uncertainty together exceed the tolerance."""
    given = params(deviation=_shown(deviation), expanded=_shown(expanded))
    return Refusal(rule.code, Reason.TOO_UNCERTAIN, (*_wanted(stated), *given))


def no_calibration(rule: ParameterRule, stated: Stated) -> Refusal:
    """Return: without an accepted flow-meter calibration there are no pulses to set."""
    return Refusal(rule.code, Reason.NO_CALIBRATION, _wanted(stated))


def nothing_to_share(rule: ParameterRule, stated: Stated) -> Refusal:
    """Return: a percentage of a volume that the formula doesn't state."""
    return Refusal(rule.code, Reason.NOT_STATED, _wanted(stated))


def cannot_end_by(rule: ParameterRule, word: str, able: Collection[str]) -> Refusal:
    """Return: the machine can't end a shot that way."""
    given = params(word=word, able=" ".join(sorted(able)))
    return Refusal(rule.code, Reason.ENDS_BY, given)


def above_boiling(flag: Flag) -> Refusal:
    """Return: the owner's policy refuses a temperature above the local boiling point."""
    return Refusal(flag.code, Reason.ABOVE_BOILING, flag.given)


def no_offset(rule: ParameterRule) -> Flag:
    """Return: a temperature is set without a measured offset."""
    return Flag(rule.code, Notice.OFFSET_NOT_MEASURED)


def _wanted(stated: Stated) -> Params:
    """Return the target with its tolerance."""
    return params(target=stated.target, below=stated.below, above=stated.above)


def _shown(value: Decimal) -> Decimal:
    """Return a computed quantity to three decimals."""
    return value.quantize(SHOWN, ROUND_HALF_UP)
