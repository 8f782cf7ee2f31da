"""From a version's formula to what each station must be set to, with what stands in the way.

Pages, plans, the worker and the API all come through here; the arithmetic itself is
``stations.metrology.translate``.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from django.db.models import QuerySet

from recipes.formula.control_settings import Values, as_stored, cup_of
from recipes.formula.formula import Formula
from recipes.station_water.cup import Expected, Judged, fact_words
from recipes.station_water.own_water import Learning, translate_own
from recipes.versions.models import Version
from stations.equipment.models import Station
from stations.equipment.traits import TRAITS, abilities_of, traits_of
from stations.metrology.abilities import MachineAbilities, StationTraits
from stations.metrology.translation import Flag, Refusal, Translation

__all__ = ["StationTranslation", "Values", "cup_of", "title_of", "translate_each", "translate_for"]


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


def translate_for(
    formula: Formula,
    stations: QuerySet[Station],
    *,
    refuse_above_boiling: bool,
    measured: Mapping[str, Decimal | None] | None = None,
    learnt_until: datetime | None = None,
    waters: Mapping[int, Decimal] | None = None,
) -> dict[int, StationTranslation]:
    """Translate a formula for every station of a queryset: three queries, whatever their number.

    ``refuse_above_boiling`` is the owner's policy: refuse what boils there instead of flagging it.
    ``measured`` stands in for traits of the stations, to see what a calibration would change.
    Where the formula leaves the water to the stations a fourth query learns it from their shots,
    leaving out those logged from ``learnt_until`` on; with ``waters`` [mL] nothing is learnt.
    """
    here = _read(stations, measured)
    learning = Learning(learnt_until, waters)
    return _translate(formula, here, learning, refuse_above_boiling=refuse_above_boiling)


def translate_each(
    formulas: Mapping[int, Formula],
    stations: QuerySet[Station],
    *,
    refuse_above_boiling: bool,
    learnt_until: datetime | None = None,
) -> dict[int, dict[int, StationTranslation]]:
    """Translate several formulas, under keys of the caller's, for every station of a queryset.

    As many queries as for one, and one more for each that leaves the water to the stations.
    """
    here, learning = _read(stations), Learning(learnt_until)
    return {
        key: _translate(formula, here, learning, refuse_above_boiling=refuse_above_boiling)
        for key, formula in formulas.items()
    }


class _Stations(NamedTuple):
    """The stations (with their sites) to translate for, and what each can do and measures."""

    places: list[tuple[int, int]]
    pairs: list[tuple[MachineAbilities, StationTraits]]


def _read(
    stations: QuerySet[Station], measured: Mapping[str, Decimal | None] | None = None
) -> _Stations:
    rows = list(stations.values_list("pk", "machine__site_id", "machine__machine_type_id", *TRAITS))
    abilities = abilities_of({row[2] for row in rows})
    pairs = [(abilities[row[2]], traits_of(row[3:], measured)) for row in rows]
    return _Stations([(row[0], row[1]) for row in rows], pairs)


def _translate(
    formula: Formula, here: _Stations, learning: Learning, *, refuse_above_boiling: bool
) -> dict[int, StationTranslation]:
    ids = [station for station, _ in here.places]
    done, judged = translate_own(
        formula, ids, here.pairs, learning, refuse_above_boiling=refuse_above_boiling
    )
    return {
        place[0]: _at_station(*place, translation, cup)
        for place, translation, cup in zip(here.places, done, judged, strict=True)
    }


def _at_station(
    station_id: int, site_id: int, translation: Translation, cup: Judged
) -> StationTranslation:
    return StationTranslation(
        station_id,
        site_id,
        as_stored(translation.settings),
        (*translation.refusals, *cup.refusals),
        (*translation.flags, *cup.flags),
        cup.expected,
    )


def title_of(version: Version) -> str:
    """What the bar reads on a slot."""
    return f"{version.recipe} · version {version.number}"
