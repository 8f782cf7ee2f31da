"""Whether what slots should hold is what was signed: asked whenever settings are shown or served.

Stations do not know what was signed; the package above registers who can tell. What does not fit
is withheld: whoever shows the placement finds a problem to tell, and no values.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence

from stations.slots.models import ControlSettings, Placement

STOP = "These settings are not what was signed: do not load. Tell the owner."
NOT_AS_SIGNED = "not_as_signed"  # the condition of a slot whose settings are withheld
WITHHELD = "Settings withheld"

# By placement (id), of those given, what does not fit; in a fixed number of queries. Each comes
# with its slot, settings and signature read.
Checker = Callable[[Sequence[Placement]], Mapping[int, str]]

_checkers: list[Checker] = []


def register(checker: Checker) -> None:
    """Called when the program starts, by the package that has placements signed."""
    _checkers.append(checker)


def withhold(placements: Iterable[Placement]) -> None:
    """Take what is not as it was signed out of the hands of whoever asked for it.

    What was set by hand has no signature and stays. Needs ``slot``, ``settings``, ``signature``.
    """
    signed = [each for each in placements if each.locks]
    if not signed:
        return
    found: dict[int, str] = {}
    for checker in _checkers:
        found |= checker(signed)
    for placement in signed:
        if why := found.get(placement.pk):
            placement.problem = f"{STOP} What does not fit: {why}."
            placement.settings = ControlSettings(
                pk=placement.settings_id,
                station_id=placement.settings.station_id,
                title=WITHHELD,
                values={},
            )
