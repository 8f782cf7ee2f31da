"""Translate a formula for many stations in one call: the fast twin of `translate.translate`.

Stations of the same abilities go through integer columns together. Whatever isn't beyond doubt
within range and tolerance is left to `setting`, station by station, which also words the refusals;
so the results equal those of `translate`, one by one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import repeat

import numpy as np

from stations.metrology.abilities import (
    MachineAbilities,
    ParameterAbility,
    ParameterRule,
    Quantity,
    StationTraits,
    TranslationRule,
)
from stations.metrology.boiling import by_policy, temperature_flags
from stations.metrology.columns import (
    Ratio,
    Thousandths,
    TraitColumns,
    Volumes,
    less_offset,
    pulses_of_percent,
    pulses_of_volume,
)
from stations.metrology.errors import BadValueError
from stations.metrology.rounding import EXACT
from stations.metrology.setting import PULSES, RULES, Case, Formula, Rules, rule_for
from stations.metrology.translation import Flag, Outcome, Refusal, Setting, Translation

Outcomes = list[Outcome]
Flags = list[tuple[Flag, ...]]
Own = Mapping[str, Thousandths]
# What a temperature's flags depend on: whether an offset is missing, altitude, air pressure.
Site = tuple[bool, Decimal | None, Decimal | None]
KnownFlags = dict[str, dict[Site, tuple[Flag, ...]]]


def translate_many(
    formula: Formula,
    rules: Rules,
    stations: Iterable[tuple[MachineAbilities, StationTraits]],
    *,
    refuse_above_boiling: bool = False,
    own: Own | None = None,
) -> Sequence[Translation]:
    """Return what `translate` gives for each station, in order.

    Pass the same MachineAbilities object for machines of the same abilities: stations are worked
    out together by that. ``own`` gives a volume of the formula [mL] a target for each station, in
    order, in place of one for all. Raises BadValueError as `translate` does, and for an ``own``
    that isn't set in pulses.
    """
    pairs, own = list(stations), own or {}
    _require_volumes(own, rules)
    positions: dict[int, list[int]] = {}
    for place, (abilities, _) in enumerate(pairs):
        positions.setdefault(id(abilities), []).append(place)
    results: list[Translation] = [NOTHING] * len(pairs)
    known_flags: KnownFlags = {}
    for places in positions.values():
        traits = [pairs[place][1] for place in places]
        mine = {code: volumes.take(places) for code, volumes in own.items()}
        group = _Group(formula, rules, pairs[places[0]][0], traits, known_flags, mine)
        for place, found in zip(places, group.translate(refuse_above_boiling), strict=True):
            results[place] = found
    return results


NOTHING = Translation({})


def _require_volumes(own: Own, rules: Rules) -> None:
    """Raise BadValueError for a parameter that can't have a target of each station's own."""
    for code in own:
        rule = rules.get(code)
        if rule is None or rule.rule is not TranslationRule.PULSES:
            raise BadValueError("own", code, "volumes that are set in pulses")


@dataclass(frozen=True, slots=True)
class _Group:
    """One formula and the stations of one set of abilities."""

    formula: Formula
    rules: Rules
    abilities: MachineAbilities
    traits: Sequence[StationTraits]
    known_flags: KnownFlags
    own: Own
    known_volumes: dict[str, Volumes] = field(default_factory=dict)

    def translate(self, refuse_above_boiling: bool) -> list[Translation]:
        """Return the translation of every station of the group."""
        first = self.case(0)
        columns = TraitColumns(self.traits)
        codes: list[str] = []
        outcomes: list[Outcomes] = []
        flags: list[Flags] = []
        for quantity in self.formula_at(0):
            rule = rule_for(quantity, self.rules)
            if not first.sets(quantity, rule):
                continue
            found = self.outcomes(columns, quantity, rule)
            if rule.rule is TranslationRule.OFFSET:
                found, raised = self.judged(
                    columns, found, quantity, rule, refuse=refuse_above_boiling
                )
                flags.append(raised)
            codes.append(quantity.code)
            outcomes.append(found)
        return _assemble(codes, outcomes, flags, len(self.traits))

    def case(self, place: int) -> Case:
        """Return one station as the rules look at it."""
        return Case(self.formula_at(place), self.rules, self.abilities, self.traits[place])

    def formula_at(self, place: int) -> Formula:
        """Return the formula with one station's own targets."""
        return [self.at(place, quantity) for quantity in self.formula] if self.own else self.formula

    def at(self, place: int, quantity: Quantity) -> Quantity:
        """Return a quantity with one station's own target, if it has one."""
        volumes = self.own.get(quantity.code)
        return quantity if volumes is None else replace(quantity, target=volumes.at(place))

    def volumes(self, quantity: Quantity) -> Volumes:
        """Return a volume's target at every station."""
        found = self.known_volumes.get(quantity.code)
        if found is None:
            own, one = self.own.get(quantity.code), quantity.target or ZERO
            found = Volumes.same(one) if own is None else Volumes.each(own)
            self.known_volumes[quantity.code] = found
        return found

    def outcomes(self, columns: TraitColumns, quantity: Quantity, rule: ParameterRule) -> Outcomes:
        """Return one quantity's outcome at every station."""
        check = RULES[rule.rule]
        ability = self.abilities.parameters.get(quantity.code)
        if ability is None or rule.rule not in BY_STATION:
            return [check(self.case(0), quantity, rule)] * len(self.traits)
        ratio = self.ratio(columns, quantity, rule, ability)
        if ratio is None:
            places = range(len(self.traits))
            return [check(self.case(i), self.at(i, quantity), rule) for i in places]
        unit = rule.unit if rule.rule is TranslationRule.OFFSET else PULSES
        found, doubtful = _settled(ratio, quantity, ability, unit)
        for place in doubtful:
            found[place] = check(self.case(place), self.at(place, quantity), rule)
        return found

    def ratio(
        self,
        columns: TraitColumns,
        quantity: Quantity,
        rule: ParameterRule,
        ability: ParameterAbility,
    ) -> Ratio | None:
        """Return the quantity's exact settings, or None where columns can't hold them."""
        target = quantity.target or ZERO
        if rule.rule is TranslationRule.OFFSET:
            return less_offset(columns, target, ability)
        if rule.rule is TranslationRule.PULSES:
            return pulses_of_volume(columns, self.volumes(quantity), ability)
        whole = self.case(0).by_code.get(rule.percent_of)
        if whole is None or whole.target is None:
            return None
        return pulses_of_percent(columns, target, self.volumes(whole), ability)

    def judged(
        self,
        columns: TraitColumns,
        outcomes: Outcomes,
        quantity: Quantity,
        rule: ParameterRule,
        *,
        refuse: bool,
    ) -> tuple[Outcomes, Flags]:
        """Return a temperature's outcomes and flags, sites of one air pressure sharing theirs."""
        known = self.known_flags.setdefault(quantity.code, {})
        unmeasured = [value is None for value in columns.given("temperature_offset")]
        altitudes, pressures = columns.given("altitude"), columns.given("air_pressure")
        sites = zip(unmeasured, altitudes, pressures, strict=True)
        for site, traits in dict(zip(sites, self.traits, strict=True)).items():
            if site not in known:
                known[site] = temperature_flags(quantity, rule, traits)
        raised = [known[site] for site in zip(unmeasured, altitudes, pressures, strict=True)]
        if not refuse:
            return outcomes, raised
        pairs = zip(outcomes, raised, strict=True)
        judged = [by_policy(outcome, flags, refuse=True) for outcome, flags in pairs]
        return [outcome for outcome, _ in judged], [flags for _, flags in judged]


ZERO = Decimal(0)
BY_STATION = {TranslationRule.PULSES, TranslationRule.PULSE_OF_PERCENT, TranslationRule.OFFSET}


def _settled(
    ratio: Ratio, quantity: Quantity, ability: ParameterAbility, unit: str
) -> tuple[Outcomes, list[int]]:
    """Return every station's setting, and the positions where it is not beyond doubt."""
    steps = ratio.rounded()
    kinds, places = np.unique(steps, return_inverse=True)
    table = np.empty(kinds.size, dtype=object)
    for place, count in enumerate(kinds.tolist()):
        table[place] = Setting(EXACT.multiply(Decimal(count), ability.resolution), unit)
    doubtful = np.flatnonzero(~ratio.plain(steps, quantity, ability))
    return table[places].tolist(), doubtful.tolist()


def _assemble(
    codes: list[str], outcomes: list[Outcomes], flags: list[Flags], count: int
) -> list[Translation]:
    """Return one translation per station from one column per quantity."""
    rows = zip(*outcomes, strict=True) if outcomes else repeat((), count)
    raised = _merged(flags, count)
    if not any(Refusal in set(map(type, column)) for column in outcomes):
        settings = [dict(zip(codes, row, strict=True)) for row in rows]
        return list(map(Translation, settings, repeat(()), raised))
    return [_sorted_out(codes, row, flag) for row, flag in zip(rows, raised, strict=True)]


def _merged(flags: list[Flags], count: int) -> Flags:
    """Return each station's flags from one column per temperature."""
    if len(flags) == 1:
        return flags[0]
    return [sum(row, ()) for row in zip(*flags, strict=True)] if flags else [()] * count


def _sorted_out(codes: list[str], row: Sequence[Outcome], flags: tuple[Flag, ...]) -> Translation:
    """Return one station's translation, its refusals apart from its settings."""
    pairs = list(zip(codes, row, strict=True))
    settings = {code: kept for code, kept in pairs if isinstance(kept, Setting)}
    return Translation(settings, tuple(r for r in row if isinstance(r, Refusal)), flags)
