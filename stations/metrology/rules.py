"""The translation rules: how a target becomes what the machine is set to, and back.

Each rule is one object. Those that set numbers share one invertible step, `Conversion`: forward
it is rounded once, half-up, at the machine's resolution, and held against range and tolerance;
backward it says what a setting stands for. `stations.metrology.columns` has the same arithmetic
for many stations at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from stations.metrology import refusals
from stations.metrology.abilities import MachineAbilities, ParameterAbility, StationTraits
from stations.metrology.budget import holds, temperature_expanded, volume_expanded
from stations.metrology.columns import (
    Ratio,
    TraitColumns,
    Volumes,
    less_offset,
    pulses_of_percent,
    pulses_of_volume,
)
from stations.metrology.errors import BadValueError
from stations.metrology.formula import NOTHING_STATED, Formula, ParameterRule, Rules, Stated
from stations.metrology.numbers import EXACT, nearest_multiple
from stations.metrology.translation import Refusal, Setting

HUNDRED = Decimal(100)
ZERO, ONE = Decimal(0), Decimal(1)
PULSES_UNIT = "pulses"


@dataclass(frozen=True, slots=True)
class Conversion:
    """setting = target · factor + shift, in the machine's unit and the parameter's."""

    factor: Decimal = ONE
    shift: Decimal = ZERO

    def forward(self, target: Decimal) -> Decimal:
        """Return the exact setting for a target."""
        return EXACT.add(EXACT.multiply(target, self.factor), self.shift)

    def inverse(self, setting: Decimal) -> Decimal:
        """Return what a setting stands for, to 28 digits: a quotient may have no end."""
        return (setting - self.shift) / self.factor

    def deviation(self, setting: Decimal, exact: Decimal) -> Decimal:
        """Return how far a setting is from the exact one, in the parameter's unit."""
        return (setting - exact) / self.factor


@dataclass(frozen=True, slots=True)
class Case:
    """One station and one formula, as the rules look at them."""

    formula: Formula
    rules: Rules
    abilities: MachineAbilities
    traits: StationTraits

    @property
    def ends_by(self) -> str:
        """The word for how the formula's shot ends, or an empty text."""
        for code, stated in self.formula.items():
            rule = self.rules.get(code)
            if rule is not None and rule.rule is ENDS_BY:
                return stated.text
        return ""

    def sets(self, stated: Stated, rule: ParameterRule) -> bool:
        """Return whether this parameter is a setting of the machine in this formula."""
        if not rule.rule.states(stated):
            return False
        return not rule.only_if_ends_by or rule.only_if_ends_by == self.ends_by

    def whole(self, rule: ParameterRule) -> Decimal | None:
        """Return the exact setting of what a share is taken of; None where it isn't known."""
        whole, of = self.formula.get(rule.percent_of), self.rules.get(rule.percent_of)
        if whole is None or not whole.target or of is None:
            return None
        conversion = of.rule.conversion(self.traits, None)
        return None if conversion is None else conversion.forward(whole.target)


class TranslationRule:
    """How a parameter's target becomes what the machine is set to, and back: as it is."""

    by_station = False  # whether two stations of one machine type may need different settings
    machine_unit = ""  # where the machine doesn't count in the parameter's own unit

    def states(self, stated: Stated) -> bool:
        """Return whether so much is stated that a machine could be set to it."""
        return stated.target is not None

    def conversion(self, traits: StationTraits, whole: Decimal | None) -> Conversion | None:
        """Return the way from target to setting and back at a station.

        ``whole`` is the setting of what a share is taken of. None where the station's calibration
        or the whole is missing.
        """
        del traits, whole
        return Conversion()

    def lacking(self, case: Case, stated: Stated, rule: ParameterRule) -> Refusal:
        """Return why there is no conversion."""
        del case
        return refusals.no_calibration(rule, stated)

    def expanded(
        self, target: Decimal, ability: ParameterAbility, traits: StationTraits
    ) -> Decimal:
        """Return the setting's expanded uncertainty (k = 2) in the parameter's unit."""
        del target, ability, traits
        return ZERO

    def setting(self, case: Case, stated: Stated, rule: ParameterRule) -> Setting | Refusal:
        """Return what the machine is set to, or why it can't be."""
        ability = case.abilities.parameters.get(rule.code)
        if ability is None:
            return refusals.missing(rule)
        conversion = self.conversion(case.traits, case.whole(rule))
        if conversion is None:
            return self.lacking(case, stated, rule)
        return self._placed(conversion, case, stated, rule, ability)

    def _placed(
        self,
        conversion: Conversion,
        case: Case,
        stated: Stated,
        rule: ParameterRule,
        ability: ParameterAbility,
    ) -> Setting | Refusal:
        """Return the rounded setting if it is in range and holds the tolerance."""
        target = target_of(stated, rule)
        exact = conversion.forward(target)
        value = nearest_multiple(exact, ability.resolution)
        if not ability.minimum <= value <= ability.maximum:
            return refusals.out_of_range(rule, target, value, ability)
        deviation = conversion.deviation(value, exact)
        if not holds(deviation, ZERO, stated):
            return refusals.too_coarse(rule, stated, value, ability, deviation)
        expanded = self.expanded(target, ability, case.traits)
        if not holds(deviation, expanded, stated):
            return refusals.too_uncertain(rule, stated, deviation, expanded)
        return Setting(value, self.machine_unit or rule.unit)

    def column(
        self, columns: TraitColumns, stated: Stated, ability: ParameterAbility, volumes: Volumes
    ) -> Ratio | None:
        """Return the exact settings of many stations; None where columns can't hold them.

        ``volumes`` are the parameter's own targets, or of what a share is taken of.
        """
        raise NotImplementedError

    def back(self, setting: str, traits: StationTraits, whole: Decimal | None) -> Stated | None:
        """Return what a stored setting stands for at a station; None where that isn't known."""
        conversion = self.conversion(traits, whole)
        return None if conversion is None else Stated(conversion.inverse(Decimal(setting)))


class _Offset(TranslationRule):
    """A temperature: the water's, less the station's measured offset, is what is displayed."""

    by_station = True

    def conversion(self, traits: StationTraits, whole: Decimal | None) -> Conversion:
        del whole
        return Conversion(shift=EXACT.minus(traits.temperature_offset or ZERO))

    def expanded(
        self, target: Decimal, ability: ParameterAbility, traits: StationTraits
    ) -> Decimal:
        del target
        return temperature_expanded(ability.resolution, traits)

    def column(
        self, columns: TraitColumns, stated: Stated, ability: ParameterAbility, volumes: Volumes
    ) -> Ratio | None:
        del volumes
        return less_offset(columns, stated.target or ZERO, ability)


class _Pulses(TranslationRule):
    """A volume [mL]: times the station's pulses per millilitre."""

    by_station = True
    machine_unit = PULSES_UNIT

    def conversion(self, traits: StationTraits, whole: Decimal | None) -> Conversion | None:
        del whole
        slope = traits.pulses_per_millilitre
        return None if slope is None else Conversion(slope)

    def expanded(
        self, target: Decimal, ability: ParameterAbility, traits: StationTraits
    ) -> Decimal:
        del ability
        return volume_expanded(target, traits)

    def column(
        self, columns: TraitColumns, stated: Stated, ability: ParameterAbility, volumes: Volumes
    ) -> Ratio | None:
        del stated
        return pulses_of_volume(columns, volumes, ability)


class _PulseOfPercent(TranslationRule):
    """A percentage of a volume: the pulse it is reached at."""

    by_station = True
    machine_unit = PULSES_UNIT

    def conversion(self, traits: StationTraits, whole: Decimal | None) -> Conversion | None:
        del traits
        return Conversion(EXACT.divide(whole, HUNDRED)) if whole else None

    def lacking(self, case: Case, stated: Stated, rule: ParameterRule) -> Refusal:
        if not case.formula.get(rule.percent_of, NOTHING_STATED).target:
            return refusals.nothing_to_share(rule, stated)
        return refusals.no_calibration(rule, stated)

    def column(
        self, columns: TraitColumns, stated: Stated, ability: ParameterAbility, volumes: Volumes
    ) -> Ratio | None:
        return pulses_of_percent(columns, stated.target or ZERO, volumes, ability)


class _EndsBy(TranslationRule):
    """One word that must be among the machine's ways to end a shot."""

    def states(self, stated: Stated) -> bool:
        return bool(stated.text)

    def setting(self, case: Case, stated: Stated, rule: ParameterRule) -> Setting | Refusal:
        if stated.text not in case.abilities.ends_by:
            return refusals.cannot_end_by(rule, stated.text, case.abilities.ends_by)
        return Setting(stated.text, "")

    def back(self, setting: str, traits: StationTraits, whole: Decimal | None) -> Stated:
        del traits, whole
        return Stated(text=setting)


class _NotSet(TranslationRule):
    """A barista or the cup decides; the machine has no setting for it."""

    def states(self, stated: Stated) -> bool:
        del stated
        return False


AS_IS = TranslationRule()  # the target, at the machine's resolution
OFFSET = _Offset()
PULSES = _Pulses()
PULSE_OF_PERCENT = _PulseOfPercent()
ENDS_BY = _EndsBy()
NOT_SET = _NotSet()


def stated_by(
    settings: Mapping[str, str], rules: Rules, traits: StationTraits
) -> dict[str, Stated]:
    """Return what stored settings stand for at a station: the way back of a translation.

    Left out is what has no rule, and what the station's calibration can't tell.
    """
    found: dict[str, Stated] = {}
    for code, setting in settings.items():
        rule = rules.get(code)
        if rule is None:
            continue
        whole = settings.get(rule.percent_of)
        stated = rule.rule.back(setting, traits, None if whole is None else Decimal(whole))
        if stated is not None:
            found[code] = stated
    return found


def target_of(stated: Stated, rule: ParameterRule) -> Decimal:
    """Return a target that is known to be stated."""
    if stated.target is None:
        raise BadValueError(f"{rule.code} target", None, "a number")
    return stated.target
