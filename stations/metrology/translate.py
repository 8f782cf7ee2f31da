"""Translate a formula into one station's control settings.

One function serves pages, plans, the worker and the API. Exact decimals in and out; every
setting is rounded once, half-up, at the machine's resolution.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from stations.metrology import refusals
from stations.metrology.abilities import (
    MachineAbilities,
    ParameterRule,
    Quantity,
    StationTraits,
    TranslationRule,
)
from stations.metrology.boiling import judge_boiling
from stations.metrology.setting import RULES, Case, Formula, Outcome, Rules, rule_for, target_of
from stations.metrology.translation import Flag, Notice, Refusal, Setting, Translation


def translate(
    formula: Formula,
    rules: Rules,
    abilities: MachineAbilities,
    traits: StationTraits,
    *,
    refuse_above_boiling: bool = False,
) -> Translation:
    """Return the control settings of one station for a formula, with refusals and flags.

    Parameters without a target, and those a barista or the cup decides, get no setting. A
    temperature above the local boiling point is flagged, or refused if the owner's policy says
    so (``refuse_above_boiling``). Raises BadValueError for a parameter that ``rules`` doesn't
    know, and for an altitude or barometer reading out of range.
    """
    case = Case(formula, rules, abilities, traits)
    settings: dict[str, Setting] = {}
    refused: list[Refusal] = []
    flags: list[Flag] = []
    for quantity in formula:
        rule = rule_for(quantity, rules)
        if not case.sets(quantity, rule):
            continue
        outcome = RULES[rule.rule](case, quantity, rule)
        if rule.rule is TranslationRule.OFFSET:
            raised = _temperature_flags(quantity, rule, traits)
            outcome, kept = _by_policy(outcome, rule, raised, refuse=refuse_above_boiling)
            flags += kept
        if isinstance(outcome, Refusal):
            refused.append(outcome)
        else:
            settings[quantity.code] = outcome
    return Translation(settings, tuple(refused), tuple(flags))


def translate_many(
    formula: Formula,
    rules: Rules,
    stations: Iterable[tuple[MachineAbilities, StationTraits]],
    *,
    refuse_above_boiling: bool = False,
) -> Sequence[Translation]:
    """Return `translate` for each station, in order; equal stations share one translation.

    Pass the same MachineAbilities object for machines of the same abilities. Raises
    BadValueError as `translate` does.
    """
    pairs = list(stations)  # keeps every abilities object alive, so that its id stays its own
    known: dict[tuple[int, StationTraits], Translation] = {}
    results = []
    for abilities, traits in pairs:
        key = (id(abilities), traits)
        found = known.get(key)
        if found is None:
            found = known[key] = translate(
                formula, rules, abilities, traits, refuse_above_boiling=refuse_above_boiling
            )
        results.append(found)
    return results


def _temperature_flags(
    quantity: Quantity, rule: ParameterRule, traits: StationTraits
) -> list[Flag]:
    """Return what a temperature is flagged for at this station."""
    flags = []
    if traits.temperature_offset is None:
        flags.append(Flag(quantity.code, Notice.OFFSET_NOT_MEASURED, refusals.no_offset(rule)))
    boiling = judge_boiling(target_of(quantity), rule, traits)
    return flags if boiling is None else [*flags, boiling]


def _by_policy(
    outcome: Outcome, rule: ParameterRule, flags: list[Flag], *, refuse: bool
) -> tuple[Outcome, list[Flag]]:
    """Turn a flag above boiling into a refusal where the owner's policy refuses it."""
    above = [flag for flag in flags if flag.kind is Notice.ABOVE_BOILING]
    if not (refuse and above and isinstance(outcome, Setting)):
        return outcome, flags
    kept = [flag for flag in flags if flag.kind is not Notice.ABOVE_BOILING]
    return refusals.above_boiling(rule, above[0].reason), kept
