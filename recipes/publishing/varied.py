"""Which machine types get a variant by a plan, and how many of their slots."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from recipes.formula.display import own_water_words
from recipes.planning.plan import Outcome
from recipes.publishing.plan import PublicationLine
from recipes.versions.models import Version
from stations.machine_types.models import MachineType


@dataclass(frozen=True, slots=True)
class ByVariant:
    """Slots that get, or hold already, a version's variant for their machine type."""

    version: Version
    machine_type: MachineType
    slots: int
    stations: int


def by_variant(lines: Iterable[PublicationLine]) -> list[ByVariant]:
    """Each variant that a plan gives to slots, in their order; a query where there is any."""
    found: dict[tuple[Version, int], list[PublicationLine]] = {}
    for line in lines:
        variant = line.translation.variant if line.translation else None
        if variant and line.version and line.outcome is not Outcome.REFUSE:
            found.setdefault((line.version, variant), []).append(line)
    types = MachineType.objects.in_bulk({pk for _, pk in found})
    return [
        ByVariant(version, types[pk], len(here), len({line.slot.station_id for line in here}))
        for (version, pk), here in found.items()
    ]


def names_in(given: Iterable[ByVariant]) -> Mapping[int, str]:
    """The names of their machine types, by id."""
    return {each.machine_type.pk: str(each.machine_type) for each in given}


def own_water(version: Version, given: Iterable[ByVariant]) -> str:
    """What a page says where the version, or one of these variants, leaves water to stations."""
    said = [own_water_words(version.stated)]
    for each in given:
        of = f" with the variant for {each.machine_type}"
        said.append(own_water_words(version.stated_for(each.machine_type.pk), of))
    return " ".join(filter(None, said))
