"""From a version's formula to what each station must be set to, with what stands in the way.

Pages, plans, the worker and the API all come through here; the arithmetic itself is
``stations.metrology.translate``.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db.models import QuerySet

from people.policy.models import Boiling, Policy
from recipes.formula.parameters import PARAMETERS, TRANSLATION_RULES
from recipes.station_water.volumes import WATER, judge, leaves_water, volumes_of, work_out
from recipes.station_water.words import Expected, Judged, fact_words
from recipes.versions.models import FormulaValue, Version
from stations.equipment.models import Station
from stations.machine_types.models import Ability, MachineType
from stations.metrology.abilities import MachineAbilities, ParameterAbility, Quantity, StationTraits
from stations.metrology.many import translate_many
from stations.metrology.translation import Flag, Refusal, Setting, Translation

Values = dict[str, dict[str, str]]


@dataclass(frozen=True, slots=True)
class StationTranslation:
    """One station's control settings for a formula, and what was refused or flagged, as facts.

    ``expected`` is in the cup where the formula leaves the water to the station, else None.
    """

    station_id: int
    site_id: int
    values: Values
    refused: tuple[Refusal, ...]
    flagged: tuple[Flag, ...]
    expected: Expected | None = None

    @property
    def refusals(self) -> tuple[str, ...]:
        """Why it can't be placed here, in sentences."""
        return tuple(map(fact_words, self.refused))

    @property
    def flags(self) -> tuple[str, ...]:
        """What needs somebody's eye, in sentences."""
        return tuple(map(fact_words, self.flagged))

    @property
    def to_acknowledge(self) -> tuple[str, ...]:
        """The flags that a named person must accept, in sentences."""
        return tuple(fact_words(each) for each in self.flagged if each.needs_acknowledgement)


def quantities(formula: Iterable[FormulaValue]) -> list[Quantity]:
    """The formula in the registry's order, which is also the order of the control settings."""
    found = {value.code: value for value in formula}
    return [
        Quantity(each.code, each.target, each.below, each.above, each.text)
        for code in PARAMETERS
        if (each := found.get(code)) is not None
    ]


# In the order of the fields of StationTraits below.
TRAITS = (
    "pulses_per_millilitre",
    "temperature_offset",
    "slope_uncertainty",
    "repeatability",
    "offset_uncertainty",
    "machine__site__altitude",
    "machine__site__air_pressure",
)
Measured = Mapping[str, Decimal | None]
Waters = Mapping[int, Decimal]


@dataclass(frozen=True, slots=True)
class Learning:
    """Where the water of each station's own comes from: its shots until then, or what is given."""

    until: datetime | None
    given: Waters | None


def translate_for(
    formula: Sequence[Quantity],
    stations: QuerySet[Station],
    measured: Measured | None = None,
    learnt_until: datetime | None = None,
    waters: Waters | None = None,
) -> dict[int, StationTranslation]:
    """Translate a formula for every station of a queryset: four queries, whatever their number.

    ``measured`` stands in for traits of the stations, to see what a calibration would change.
    Where the formula leaves the water to the stations a fifth query learns it from their shots,
    leaving out those logged from ``learnt_until`` on; with ``waters`` [mL] nothing is learnt.
    """
    rows = list(stations.values_list("pk", "machine__site_id", "machine__machine_type_id", *TRAITS))
    abilities = abilities_of({row[2] for row in rows})
    traits = [_traits(row[3:], measured or {}) for row in rows]
    pairs = [(abilities[row[2]], each) for row, each in zip(rows, traits, strict=True)]
    learning = Learning(learnt_until, waters)
    done, judged = _translated(formula, [row[0] for row in rows], pairs, learning)
    return {
        row[0]: _outcome(row[0], row[1], translation, cup)
        for row, translation, cup in zip(rows, done, judged, strict=True)
    }


def _translated(
    formula: Sequence[Quantity],
    stations: Sequence[int],
    pairs: Sequence[tuple[MachineAbilities, StationTraits]],
    learning: Learning,
) -> tuple[Sequence[Translation], Sequence[Judged]]:
    """The translations, and what is judged of the cup where the water is each station's own."""
    refuse = Policy.current().boiling == Boiling.REFUSE
    said = {each.code: each for each in formula}
    if not leaves_water(said):
        done = translate_many(formula, TRANSLATION_RULES, pairs, refuse_above_boiling=refuse)
        return done, [Judged()] * len(pairs)
    traits = [each for _, each in pairs]
    water = None if learning.given else work_out(said, stations, traits, learning.until)
    volumes = water.volumes if water else volumes_of(learning.given or {}, stations)
    said[WATER] = Quantity(WATER)
    done = translate_many(
        [said[code] for code in PARAMETERS if code in said],
        TRANSLATION_RULES,
        pairs,
        refuse_above_boiling=refuse,
        own={WATER: volumes},
    )
    return done, judge(water, traits, done) if water else [Judged()] * len(pairs)


def _traits(held: Sequence[Decimal | None], measured: Measured) -> StationTraits:
    traits = {**dict(zip(TRAITS, held, strict=True)), **measured}
    return StationTraits(
        pulses_per_millilitre=traits["pulses_per_millilitre"],
        temperature_offset=traits["temperature_offset"],
        slope_uncertainty=traits["slope_uncertainty"],
        repeatability=traits["repeatability"],
        offset_uncertainty=traits["offset_uncertainty"],
        altitude=traits["machine__site__altitude"],
        air_pressure=traits["machine__site__air_pressure"],
    )


def abilities_of(machine_types: Iterable[int]) -> dict[int, MachineAbilities]:
    """Each machine type as ``stations.metrology`` reads it."""
    rows: dict[int, dict[str, ParameterAbility]] = {pk: {} for pk in machine_types}
    for ability in Ability.objects.filter(machine_type__in=rows):
        rows[ability.machine_type_id][ability.parameter] = ParameterAbility(
            ability.parameter, ability.minimum, ability.maximum, ability.resolution
        )
    endings = dict(MachineType.objects.filter(pk__in=rows).values_list("pk", "ends_by"))
    return {pk: MachineAbilities(rows[pk], frozenset(endings[pk])) for pk in rows}


def _outcome(
    station_id: int, site_id: int, translation: Translation, cup: Judged
) -> StationTranslation:
    return StationTranslation(
        station_id,
        site_id,
        {code: stored(code, setting) for code, setting in translation.settings.items()},
        (*translation.refusals, *cup.refusals),
        (*translation.flags, *cup.flags),
        cup.expected,
    )


def stored(code: str, setting: Setting) -> dict[str, str]:
    """A setting as ``ControlSettings`` keeps it: a plain decimal or a word, and its UCUM unit."""
    value = setting.value
    text = format(value, "f") if isinstance(value, Decimal) else value
    return {"value": text, "unit": PARAMETERS[code].machine_unit}


# What a cup is weighed and timed for; a machine that ends by one of them has a setting as well.
CUP = ("dose_mass", "beverage_mass", "shot_time")


def cup_of(formula: Iterable[Quantity]) -> dict[str, dict[str, str]]:
    """What a check shot is held against, as ``ControlSettings`` keeps it."""
    return {each.code: _in_cup(each) for each in formula if each.code in CUP and each.target}


def _in_cup(quantity: Quantity) -> dict[str, str]:
    widths = {"target": quantity.target, "below": quantity.below, "above": quantity.above}
    kept = {name: format(value, "f") for name, value in widths.items() if value is not None}
    return {**kept, "unit": PARAMETERS[quantity.code].unit}


def title_of(version: Version) -> str:
    """What the bar reads on a slot."""
    return f"{version.recipe} · version {version.number}"


def with_changes(
    formula: Sequence[Quantity], changes: Mapping[str, Decimal | str]
) -> list[Quantity]:
    """The formula with some targets replaced and every tolerance left open.

    A permit allows exactly the deviation that a tolerance would forbid.
    """
    present = {quantity.code: quantity for quantity in formula}
    order = [code for code in PARAMETERS if code in present or code in changes]
    return [_changed(present.get(code, Quantity(code)), changes.get(code)) for code in order]


def _changed(quantity: Quantity, new: Decimal | str | None) -> Quantity:
    if isinstance(new, str):
        return Quantity(quantity.code, text=new)
    return Quantity(quantity.code, quantity.target if new is None else new, text=quantity.text)
