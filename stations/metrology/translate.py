"""Translate a formula into the control settings of one station, or of many at once.

One function serves pages, plans, the worker and the API. Exact decimals in and out; every
setting is rounded once, half-up, at the machine's resolution. Of many stations, those of the same
abilities go through integer columns together; whatever isn't beyond doubt within range and
tolerance is left to `rules`, station by station, so that the results are the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import repeat

import numpy as np

from stations.metrology.abilities import MachineAbilities, ParameterAbility, StationTraits
from stations.metrology.boiling import by_policy, temperature_flags
from stations.metrology.columns import Ratio, Thousandths, TraitColumns, Volumes
from stations.metrology.errors import BadValueError
from stations.metrology.formula import Formula, ParameterRule, Rules, Stated, require_stated
from stations.metrology.numbers import EXACT
from stations.metrology.rules import OFFSET, PULSES, Case
from stations.metrology.translation import Flag, Refusal, Setting, Translation

ZERO = Decimal(0)
Outcome = Setting | Refusal
Outcomes = list[Outcome]
Flags = list[tuple[Flag, ...]]
Own = Mapping[str, Thousandths]
# What a temperature's flags depend on: whether an offset is missing, altitude, air pressure.
Site = tuple[bool, Decimal | None, Decimal | None]
KnownFlags = dict[str, dict[Site, tuple[Flag, ...]]]


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
    know, a number that can't be used, and an altitude or barometer reading out of range.
    """
    require_stated(formula, rules)
    case = Case(formula, rules, abilities, traits)
    settings: dict[str, Setting] = {}
    refused: list[Refusal] = []
    flags: list[Flag] = []
    for code, stated in formula.items():
        rule = rules[code]
        if not case.sets(stated, rule):
            continue
        outcome = rule.rule.setting(case, stated, rule)
        if rule.rule is OFFSET:
            raised = temperature_flags(stated, rule, traits)
            outcome, kept = by_policy(outcome, raised, refuse=refuse_above_boiling)
            flags += kept
        if isinstance(outcome, Refusal):
            refused.append(outcome)
        else:
            settings[code] = outcome
    return Translation(settings, tuple(refused), tuple(flags))


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
    require_stated(formula, rules)
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
        if rule is None or rule.rule is not PULSES:
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
        for code, stated in first.formula.items():
            rule = self.rules[code]
            if not first.sets(stated, rule):
                continue
            found = self.outcomes(columns, stated, rule)
            if rule.rule is OFFSET:
                found, raised = self.judged(
                    columns, found, stated, rule, refuse=refuse_above_boiling
                )
                flags.append(raised)
            codes.append(code)
            outcomes.append(found)
        return _assemble(codes, outcomes, flags, len(self.traits))

    def case(self, place: int) -> Case:
        """Return one station as the rules look at it, with its own targets."""
        own = {code: self.at(place, code) for code in self.formula} if self.own else self.formula
        return Case(own, self.rules, self.abilities, self.traits[place])

    def at(self, place: int, code: str) -> Stated:
        """Return what is stated, with one station's own target if it has one."""
        stated, volumes = self.formula[code], self.own.get(code)
        return stated if volumes is None else replace(stated, target=volumes.at(place))

    def one(self, place: int, rule: ParameterRule) -> Outcome:
        """Return one station's outcome by the rule itself."""
        return rule.rule.setting(self.case(place), self.at(place, rule.code), rule)

    def outcomes(self, columns: TraitColumns, stated: Stated, rule: ParameterRule) -> Outcomes:
        """Return one parameter's outcome at every station."""
        ability = self.abilities.parameters.get(rule.code)
        if ability is None or not rule.rule.by_station:
            return [self.one(0, rule)] * len(self.traits)
        ratio = self.ratio(columns, stated, rule, ability)
        if ratio is None:
            return [self.one(place, rule) for place in range(len(self.traits))]
        unit = rule.rule.machine_unit or rule.unit
        found, doubtful = _settled(ratio, stated, ability, unit)
        for place in doubtful:
            found[place] = self.one(place, rule)
        return found

    def ratio(
        self, columns: TraitColumns, stated: Stated, rule: ParameterRule, ability: ParameterAbility
    ) -> Ratio | None:
        """Return the parameter's exact settings, or None where columns can't hold them."""
        volume = rule.percent_of or rule.code
        if volume not in self.formula or self.at(0, volume).target is None:
            return None
        return rule.rule.column(columns, stated, ability, self.volumes(volume))

    def volumes(self, code: str) -> Volumes:
        """Return a volume's target at every station."""
        found = self.known_volumes.get(code)
        if found is None:
            own, one = self.own.get(code), self.formula[code].target or ZERO
            found = Volumes.same(one) if own is None else Volumes.each(own)
            self.known_volumes[code] = found
        return found

    def judged(
        self,
        columns: TraitColumns,
        outcomes: Outcomes,
        stated: Stated,
        rule: ParameterRule,
        *,
        refuse: bool,
    ) -> tuple[Outcomes, Flags]:
        """Return a temperature's outcomes and flags, sites of one air pressure sharing theirs."""
        known = self.known_flags.setdefault(rule.code, {})
        unmeasured = [value is None for value in columns.given("temperature_offset")]
        altitudes, pressures = columns.given("altitude"), columns.given("air_pressure")
        sites = zip(unmeasured, altitudes, pressures, strict=True)
        for site, traits in dict(zip(sites, self.traits, strict=True)).items():
            if site not in known:
                known[site] = temperature_flags(stated, rule, traits)
        raised = [known[site] for site in zip(unmeasured, altitudes, pressures, strict=True)]
        if not refuse:
            return outcomes, raised
        pairs = zip(outcomes, raised, strict=True)
        judged = [by_policy(outcome, flags, refuse=True) for outcome, flags in pairs]
        return [outcome for outcome, _ in judged], [flags for _, flags in judged]


def _settled(
    ratio: Ratio, stated: Stated, ability: ParameterAbility, unit: str
) -> tuple[Outcomes, list[int]]:
    """Return every station's setting, and the positions where it is not beyond doubt."""
    steps = ratio.rounded()
    kinds, places = np.unique(steps, return_inverse=True)
    table = np.empty(kinds.size, dtype=object)
    for place, count in enumerate(kinds.tolist()):
        table[place] = Setting(EXACT.multiply(Decimal(count), ability.resolution), unit)
    doubtful = np.flatnonzero(~ratio.plain(steps, stated, ability))
    return table[places].tolist(), doubtful.tolist()


def _assemble(
    codes: list[str], outcomes: list[Outcomes], flags: list[Flags], count: int
) -> list[Translation]:
    """Return one translation per station from one column per parameter."""
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
