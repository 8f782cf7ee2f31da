"""How the history's pages name grinders."""

from collections.abc import Iterable

from audit.reading.labels import register_label
from audit.registry import register_subject
from stations.grinders.models import Grinder

FOUND_AT_MOST = 50
LABELS = (
    ("stations_grinder", "finer", "Direction", ""),
    ("stations_grinder", "step", "Least move (marks)", ""),
    ("stations_grinder", "micrometres_per_mark", "Burr gap per mark", "um"),
    ("stations_grinderevent", "setting", "Mark", ""),
)


def register() -> None:
    """Called once, when the program starts."""
    register_subject("grinder", "Grinder", "stations:grinder", find=_grinders_named)
    for table, column, label, unit in LABELS:
        register_label(table, column, label, unit)


def _grinders_named(text: str) -> Iterable[tuple[int, str]]:
    found = Grinder.objects.filter(name__icontains=text).select_related("site")[:FOUND_AT_MOST]
    return [(grinder.pk, f"{grinder.site} · {grinder}") for grinder in found]
