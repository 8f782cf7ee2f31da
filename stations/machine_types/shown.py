"""How the history's pages name what machines can set."""

from collections.abc import Iterable

from audit.reading.labels import register_label
from audit.registry import register_subject
from stations.machine_types.models import AbilitySet

FOUND_AT_MOST = 50


def register() -> None:
    """Called once, when the program starts."""
    register_subject("ability set", "Abilities", "stations:ability_set", find=_named)
    register_label("stations_abilityset", "ends_by", "A shot can end by")
    register_label("stations_ability", "minimum", "Least")
    register_label("stations_ability", "maximum", "Most")
    register_label("stations_ability", "resolution", "Step")


def _named(text: str) -> Iterable[tuple[int, str]]:
    return AbilitySet.objects.filter(name__icontains=text).values_list("pk", "name")[:FOUND_AT_MOST]
