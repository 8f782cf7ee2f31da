"""How the history's pages name machine types and what they can set."""

from collections.abc import Iterable

from audit.reading.labels import register_column_of_old, register_label, register_table_of_old
from audit.registry import register_subject
from stations.machine_types.models import MachineType

FOUND_AT_MOST = 50


def register() -> None:
    """Called once, when the program starts."""
    register_subject(
        "machine type",
        "Machine type",
        "stations:machine_type",
        find=_named,
        former=("ability set",),
    )
    register_table_of_old("stations_abilityset", "stations_machinetype")
    register_column_of_old("stations_ability", "ability_set_id", "machine_type_id")
    register_label("stations_machinetype", "ends_by", "A shot can end by")
    register_label("stations_ability", "minimum", "Least")
    register_label("stations_ability", "maximum", "Most")
    register_label("stations_ability", "resolution", "Step")


def _named(text: str) -> Iterable[tuple[int, str]]:
    return MachineType.objects.filter(name__icontains=text).values_list("pk", "name")[
        :FOUND_AT_MOST
    ]
