"""What a signed step wrote for its slots, beside the settings that were seen."""

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from django.db.models import F

from stations.models import Placement

Values = Mapping[str, Any]


def written(basis: str, basis_id: int, stations: Collection[int]) -> Iterator[tuple[int, Values]]:
    """Each different (station, settings) that this step placed at these stations.

    By slot first, which is how placements are indexed.
    """
    rows: Iterator[tuple[int, Values]] = (
        Placement.objects.filter(slot__station__in=stations, basis=basis, basis_id=basis_id)
        .order_by()
        .values_list(F("settings__station_id"), "settings__values")
        .distinct()
        .iterator()
    )
    return rows
