"""From a version's formula to what each station must be set to, with what stands in the way.

Pages, plans, the worker and the API all come through here; the arithmetic itself is
``stations.metrology.translate``.
"""

from collections.abc import Container, Iterable, Mapping
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

__all__ = [
    "StationTranslation",
    "Values",
    "cup_of",
    "title_of",
    "translate_each",
    "translate_for",
    "translate_version",
]


@dataclass(frozen=True, slots=True)
class StationTranslation:
    """One station's control settings for a formula, and what was refused or flagged, as facts.

    ``expected`` is in the cup where the formula leaves the water to the station, else None.
    ``variant`` is the machine type (id) for whose variant it is, if not for the whole formula.
    """

    station_id: int
    site_id: int
    values: Values
    refused: tuple[Refusal, ...]
    flagged: tuple[Flag, ...]
    expected: Expected | None = None
    variant: int | None = None

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
    variant: int | None = None,
) -> dict[int, StationTranslation]:
    """Translate a formula for every station of a queryset: three queries, whatever their number.

    ``variant`` says for which machine type (id) the formula is, if it is not a whole one.

    ``refuse_above_boiling`` is the owner's policy: refuse what boils there instead of flagging it.
    ``measured`` stands in for traits of the stations, to see what a calibration would change.
    Where the formula leaves the water to the stations a fourth query learns it from their shots,
    leaving out those logged from ``learnt_until`` on; with ``waters`` [mL] nothing is learnt.
    """
    here = _read(stations, measured)
    learning = Learning(learnt_until, waters)
    return _translate(formula, here, learning, variant, refuse_above_boiling=refuse_above_boiling)


def translate_each(
    versions: Iterable[Version],
    stations: QuerySet[Station],
    *,
    refuse_above_boiling: bool,
    learnt_until: datetime | None = None,
) -> dict[int, dict[int, StationTranslation]]:
    """Translate several versions, by their ids, for every station of a queryset.

    Each station gets the fullest formula that it can hold: the whole one, else the variant for
    its machine type. Where it can hold neither, the variant says why. As many queries as for one
    formula, and one more for each that leaves the water to the stations.
    """
    here, learning = _read(stations), Learning(learnt_until)
    return {
        version.pk: _fullest(version, here, learning, refuse_above_boiling=refuse_above_boiling)
        for version in versions
    }


def translate_version(
    version: Version,
    stations: QuerySet[Station],
    *,
    refuse_above_boiling: bool,
    learnt_until: datetime | None = None,
) -> dict[int, StationTranslation]:
    """The same of one version."""
    done = translate_each(
        [version], stations, refuse_above_boiling=refuse_above_boiling, learnt_until=learnt_until
    )
    return done[version.pk]


class _Stations(NamedTuple):
    """The stations to translate for: place (station, site, machine type), abilities and traits."""

    places: list[tuple[int, int, int]]
    pairs: list[tuple[MachineAbilities, StationTraits]]

    def among(self, machine_type: int, stations: Container[int]) -> "_Stations":
        """Those of these (ids) whose machine is of that type."""
        at = [
            number
            for number, place in enumerate(self.places)
            if place[2] == machine_type and place[0] in stations
        ]
        return _Stations([self.places[each] for each in at], [self.pairs[each] for each in at])


def _fullest(
    version: Version, here: _Stations, learning: Learning, *, refuse_above_boiling: bool
) -> dict[int, StationTranslation]:
    done = _translate(version.stated, here, learning, refuse_above_boiling=refuse_above_boiling)
    for machine_type, formula in version.variants.items():
        unable = {pk for pk, each in done.items() if each.refused}
        those = here.among(machine_type, unable)
        if those.places:
            done |= _translate(
                formula, those, learning, machine_type, refuse_above_boiling=refuse_above_boiling
            )
    return done


def _read(
    stations: QuerySet[Station], measured: Mapping[str, Decimal | None] | None = None
) -> _Stations:
    rows = list(stations.values_list("pk", "machine__site_id", "machine__machine_type_id", *TRAITS))
    abilities = abilities_of({row[2] for row in rows})
    pairs = [(abilities[row[2]], traits_of(row[3:], measured)) for row in rows]
    return _Stations([(row[0], row[1], row[2]) for row in rows], pairs)


def _translate(
    formula: Formula,
    here: _Stations,
    learning: Learning,
    variant: int | None = None,
    *,
    refuse_above_boiling: bool,
) -> dict[int, StationTranslation]:
    ids = [place[0] for place in here.places]
    done, judged = translate_own(
        formula, ids, here.pairs, learning, refuse_above_boiling=refuse_above_boiling
    )
    return {
        place[0]: _at_station(place[0], place[1], translation, cup, variant)
        for place, translation, cup in zip(here.places, done, judged, strict=True)
    }


def _at_station(
    station_id: int, site_id: int, translation: Translation, cup: Judged, variant: int | None
) -> StationTranslation:
    return StationTranslation(
        station_id,
        site_id,
        as_stored(translation.settings),
        (*translation.refusals, *cup.refusals),
        (*translation.flags, *cup.flags),
        cup.expected,
        variant,
    )


def title_of(version: Version) -> str:
    """What the bar reads on a slot."""
    return f"{version.recipe} · version {version.number}"
