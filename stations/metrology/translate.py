"""Translate a formula into one station's control settings.

One function serves pages, plans, the worker and the API. Exact decimals in and out; every
setting is rounded once, half-up, at the machine's resolution.
"""

from __future__ import annotations

from stations.metrology.abilities import MachineAbilities, StationTraits, TranslationRule
from stations.metrology.boiling import by_policy, temperature_flags
from stations.metrology.many import translate_many
from stations.metrology.setting import RULES, Case, Formula, Rules, rule_for
from stations.metrology.translation import Flag, Refusal, Setting, Translation

__all__ = ["translate", "translate_many"]


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
            raised = temperature_flags(quantity, rule, traits)
            outcome, kept = by_policy(outcome, raised, refuse=refuse_above_boiling)
            flags += kept
        if isinstance(outcome, Refusal):
            refused.append(outcome)
        else:
            settings[quantity.code] = outcome
    return Translation(settings, tuple(refused), tuple(flags))
