"""What is known of stations and their machines, as `stations.metrology` reads it."""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from stations.equipment.models import Station
from stations.machine_types.models import Ability, MachineType
from stations.metrology.abilities import MachineAbilities, ParameterAbility, StationTraits

# Columns of a station, and the trait each of them is.
TRAITS = {
    "pulses_per_millilitre": "pulses_per_millilitre",
    "temperature_offset": "temperature_offset",
    "slope_uncertainty": "slope_uncertainty",
    "repeatability": "repeatability",
    "offset_uncertainty": "offset_uncertainty",
    "machine__site__altitude": "altitude",
    "machine__site__air_pressure": "air_pressure",
}
Measured = Mapping[str, Decimal | None]


def traits_of(values: Sequence[Any], measured: Measured | None = None) -> StationTraits:
    """A station's traits from its values in the order of TRAITS; ``measured`` go before them."""
    return StationTraits(**dict(zip(TRAITS.values(), values, strict=True), **(measured or {})))


def traits_at(station: Station) -> StationTraits:
    """The traits of a station whose site is at hand."""
    site = station.machine.site
    own = {name: getattr(station, name) for name in TRAITS if "__" not in name}
    return StationTraits(**own, altitude=site.altitude, air_pressure=site.air_pressure)


def abilities_of(machine_types: Iterable[int]) -> dict[int, MachineAbilities]:
    """What each machine type can set: two queries."""
    rows: dict[int, dict[str, ParameterAbility]] = {pk: {} for pk in machine_types}
    for ability in Ability.objects.filter(machine_type__in=rows):
        rows[ability.machine_type_id][ability.parameter] = ParameterAbility(
            ability.parameter, ability.minimum, ability.maximum, ability.resolution
        )
    endings = dict(MachineType.objects.filter(pk__in=rows).values_list("pk", "ends_by"))
    return {pk: MachineAbilities(rows[pk], frozenset(endings[pk])) for pk in rows}
