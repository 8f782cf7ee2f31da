"""The sentences in which a translation says why a parameter can't be placed."""

from __future__ import annotations

from collections.abc import Collection
from decimal import ROUND_HALF_UP, Decimal

from stations.metrology.abilities import ParameterAbility, ParameterRule, Quantity
from stations.metrology.translation import Reason, Refusal
from stations.metrology.wording import a_list, between, tolerance, with_unit

SHOWN = Decimal("0.001")


def missing(rule: ParameterRule) -> Refusal:
    """Return: this machine has no setting for the parameter."""
    return Refusal(
        rule.code, Reason.MISSING_ABILITY, f"{rule.label} is not something this machine can set"
    )


def out_of_range(
    rule: ParameterRule, target: Decimal, value: Decimal, ability: ParameterAbility, unit: str
) -> Refusal:
    """Return: the setting is above or below what the machine can set."""
    side = "above" if value > ability.maximum else "below"
    needs = (
        "" if value == target and unit == rule.unit else f" needs {with_unit(value, unit)} here,"
    )
    verb = "" if needs else " is"
    limits = between(ability.minimum, ability.maximum, unit)
    sentence = (
        f"{rule.label} {with_unit(target, rule.unit)}{needs}{verb} "
        f"{side} what this machine can set ({limits})"
    )
    return Refusal(rule.code, Reason.OUT_OF_RANGE, sentence)


def too_coarse(
    rule: ParameterRule, quantity: Quantity, value: Decimal, ability: ParameterAbility
) -> Refusal:
    """Return: the machine's steps are too coarse for the tolerance."""
    sentence = (
        f"{_wanted(rule, quantity)} can't be held here: the nearest setting is "
        f"{with_unit(value, rule.unit)} (steps of {with_unit(ability.resolution, rule.unit)})"
    )
    return Refusal(rule.code, Reason.CANNOT_HOLD_TOLERANCE, sentence)


def pulse_too_coarse(
    rule: ParameterRule, quantity: Quantity, value: Decimal, deviation: Decimal
) -> Refusal:
    """Return: the nearest whole pulse already misses the tolerance."""
    sentence = (
        f"{_wanted(rule, quantity)} can't be held here: the nearest count, "
        f"{with_unit(value, 'pulses')}, is off by {_shown(deviation, rule.unit)}"
    )
    return Refusal(rule.code, Reason.CANNOT_HOLD_TOLERANCE, sentence)


def too_uncertain(
    rule: ParameterRule, quantity: Quantity, deviation: Decimal, expanded: Decimal
) -> Refusal:
    """Return: rounding and the calibration's uncertainty together exceed the tolerance."""
    sentence = (
        f"{_wanted(rule, quantity)} can't be held with this station's calibration: rounding puts "
        f"it off by {_shown(deviation, rule.unit)}, and it is uncertain by "
        f"±{_shown(expanded, rule.unit)} (k = 2)"
    )
    return Refusal(rule.code, Reason.CANNOT_HOLD_TOLERANCE, sentence)


def no_calibration(rule: ParameterRule, quantity: Quantity) -> Refusal:
    """Return: without an accepted flow-meter calibration there are no pulses to set."""
    sentence = (
        f"{_wanted(rule, quantity)} can't be set in pulses: this station has no accepted "
        "flow-meter calibration"
    )
    return Refusal(rule.code, Reason.NO_CALIBRATION, sentence)


def nothing_to_share(rule: ParameterRule, quantity: Quantity) -> Refusal:
    """Return: a percentage of a volume that the formula doesn't state."""
    sentence = f"{_wanted(rule, quantity)} is a share of a volume that this recipe doesn't state"
    return Refusal(rule.code, Reason.NOT_STATED, sentence)


def cannot_end_by(rule: ParameterRule, word: str, able: Collection[str]) -> Refusal:
    """Return: the machine can't end a shot that way."""
    able_words = a_list(sorted(able))
    sentence = f"this machine can't end a shot by {word}; it can by {able_words}"
    return Refusal(rule.code, Reason.ENDS_BY, sentence)


def above_boiling(rule: ParameterRule, explanation: str) -> Refusal:
    """Return: the owner's policy refuses temperatures above the local boiling point."""
    sentence = f"{explanation} The owner's policy refuses this."
    return Refusal(rule.code, Reason.ABOVE_BOILING, sentence)


def no_offset(rule: ParameterRule) -> str:
    """Return the words for a temperature set without a measured offset."""
    return (
        f"{rule.label} is set as displayed: this station's temperature offset has not been measured"
    )


def _wanted(rule: ParameterRule, quantity: Quantity) -> str:
    """Return the target with its tolerance: "brew pressure 9 bar ±0.2 bar"."""
    target = with_unit(quantity.target or Decimal(0), rule.unit)
    limits = tolerance(quantity.below, quantity.above, rule.unit)
    return f"{rule.label} {target} {limits}" if limits != rule.unit else f"{rule.label} {target}"


def _shown(value: Decimal, unit: str) -> str:
    """Return a computed quantity to three decimals."""
    return with_unit(value.quantize(SHOWN, ROUND_HALF_UP), unit)
