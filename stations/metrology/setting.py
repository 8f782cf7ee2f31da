"""How each translation rule turns one target into one control setting, or refuses it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal

from stations.metrology import holding, refusals
from stations.metrology.abilities import (
    MachineAbilities,
    ParameterAbility,
    ParameterRule,
    Quantity,
    StationTraits,
    TranslationRule,
)
from stations.metrology.errors import BadValueError
from stations.metrology.rounding import EXACT, nearest_multiple
from stations.metrology.translation import Outcome, Setting

Formula = Sequence[Quantity]
Rules = Mapping[str, ParameterRule]
HUNDRED = Decimal(100)
NOTHING = Decimal(0)
PULSES = "pulses"


class Case:
    """One station and one formula, as the rules below look at them."""

    __slots__ = ("abilities", "by_code", "ends_by", "traits")

    def __init__(
        self, formula: Formula, rules: Rules, abilities: MachineAbilities, traits: StationTraits
    ) -> None:
        self.abilities = abilities
        self.traits = traits
        self.by_code = {quantity.code: quantity for quantity in formula}
        self.ends_by = ends_by_of(formula, rules)

    def sets(self, quantity: Quantity, rule: ParameterRule) -> bool:
        """Return whether this quantity is a setting of the machine in this formula."""
        if rule.rule is TranslationRule.NOT_SET:
            return False
        if rule.rule is TranslationRule.ENDS_BY:
            return bool(quantity.text)
        stated = quantity.target is not None
        return stated and rule.only_if_ends_by in ("", self.ends_by)

    def ability(self, code: str) -> ParameterAbility | None:
        """Return what the machine can set of a parameter, or None."""
        return self.abilities.parameters.get(code)


def ends_by_of(formula: Formula, rules: Rules) -> str:
    """Return the word for how the formula's shot ends, or an empty text."""
    for quantity in formula:
        rule = rules.get(quantity.code)
        if rule is not None and rule.rule is TranslationRule.ENDS_BY:
            return quantity.text
    return ""


def rule_for(quantity: Quantity, rules: Rules) -> ParameterRule:
    """Return the rule of a quantity; BadValueError if there is none."""
    rule = rules.get(quantity.code)
    if rule is None:
        raise BadValueError("parameter", quantity.code, "one of the registered parameters")
    return rule


def _as_is(station: Case, quantity: Quantity, rule: ParameterRule) -> Outcome:
    """Return the target at the machine's resolution, or why it can't be set."""
    ability = station.ability(quantity.code)
    if ability is None:
        return refusals.missing(rule)
    exact = target_of(quantity)
    value = nearest_multiple(exact, ability.resolution)
    if not ability.minimum <= value <= ability.maximum:
        return refusals.out_of_range(rule, exact, value, ability)
    if not holding.holds(value - exact, NOTHING, quantity):
        return refusals.too_coarse(rule, quantity, value, ability, value - exact)
    return Setting(value, rule.unit)


def _offset(station: Case, quantity: Quantity, rule: ParameterRule) -> Outcome:
    """Return the target less the station's offset, or why it can't be set."""
    ability = station.ability(quantity.code)
    if ability is None:
        return refusals.missing(rule)
    exact = EXACT.subtract(target_of(quantity), station.traits.temperature_offset or NOTHING)
    value = nearest_multiple(exact, ability.resolution)
    if not ability.minimum <= value <= ability.maximum:
        return refusals.out_of_range(rule, target_of(quantity), value, ability)
    expanded = holding.temperature_expanded(ability.resolution, station.traits)
    if not holding.holds(value - exact, NOTHING, quantity):
        return refusals.too_coarse(rule, quantity, value, ability, value - exact)
    if not holding.holds(value - exact, expanded, quantity):
        return refusals.too_uncertain(rule, quantity, value - exact, expanded)
    return Setting(value, rule.unit)


def _pulses(station: Case, quantity: Quantity, rule: ParameterRule) -> Outcome:
    """Return a volume as flow-meter pulses, or why it can't be set."""
    ability, slope = station.ability(quantity.code), station.traits.pulses_per_millilitre
    if ability is None:
        return refusals.missing(rule)
    if slope is None:
        return refusals.no_calibration(rule, quantity)
    volume = target_of(quantity)
    exact = EXACT.multiply(slope, volume)
    value = nearest_multiple(exact, ability.resolution)
    if not ability.minimum <= value <= ability.maximum:
        return refusals.out_of_range(rule, volume, value, ability)
    deviation = (value - exact) / slope
    if not holding.holds(deviation, NOTHING, quantity):
        return refusals.too_coarse(rule, quantity, value, ability, deviation)
    expanded = holding.volume_expanded(volume, station.traits)
    if not holding.holds(deviation, expanded, quantity):
        return refusals.too_uncertain(rule, quantity, deviation, expanded)
    return Setting(value, PULSES)


def _pulse_of_percent(station: Case, quantity: Quantity, rule: ParameterRule) -> Outcome:
    """Return a share of a volume as the pulse it is reached at, or why it can't be set."""
    ability, slope = station.ability(quantity.code), station.traits.pulses_per_millilitre
    if ability is None:
        return refusals.missing(rule)
    whole = station.by_code.get(rule.percent_of)
    if whole is None or not whole.target:
        return refusals.nothing_to_share(rule, quantity)
    if slope is None:
        return refusals.no_calibration(rule, quantity)
    total = EXACT.multiply(slope, whole.target)
    exact = EXACT.divide(EXACT.multiply(total, target_of(quantity)), HUNDRED)
    value = nearest_multiple(exact, ability.resolution)
    if not ability.minimum <= value <= ability.maximum:
        return refusals.out_of_range(rule, target_of(quantity), value, ability)
    deviation = (value - exact) / total * HUNDRED
    if not holding.holds(deviation, NOTHING, quantity):
        return refusals.too_coarse(rule, quantity, value, ability, deviation)
    return Setting(value, PULSES)


def _ends_by(station: Case, quantity: Quantity, rule: ParameterRule) -> Outcome:
    """Return the word for how the shot ends, or that the machine can't end it so."""
    if quantity.text not in station.abilities.ends_by:
        return refusals.cannot_end_by(rule, quantity.text, station.abilities.ends_by)
    return Setting(quantity.text, "")


def target_of(quantity: Quantity) -> Decimal:
    """Return the target of a quantity that is known to have one."""
    if quantity.target is None:
        raise BadValueError(f"{quantity.code} target", None, "a number")
    return quantity.target


RULES: dict[TranslationRule, Callable[[Case, Quantity, ParameterRule], Outcome]] = {
    TranslationRule.AS_IS: _as_is,
    TranslationRule.OFFSET: _offset,
    TranslationRule.PULSES: _pulses,
    TranslationRule.PULSE_OF_PERCENT: _pulse_of_percent,
    TranslationRule.ENDS_BY: _ends_by,
}
