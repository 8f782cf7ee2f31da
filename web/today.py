"""What bars need today: told by whoever knows it, gathered for the first page.

A folder registers a panel for what it knows. Each panel answers for all sites at once, so that
what it costs does not grow with them.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:  # the model AUTH_USER_MODEL names: django-stubs knows which
    from django.contrib.auth.models import _User as User


@dataclass(frozen=True, slots=True)
class Asked:
    """Whose first page it is, the clock of each site (by its id), and the moment."""

    user: "User"
    clocks: Mapping[int, ZoneInfo]
    now: datetime


@dataclass(frozen=True, slots=True)
class Need:
    """One thing that a site needs, at one of its stations or anywhere there.

    ``mark`` is its state (web.icons), ``words`` what it is, ``url`` where it is done, ``when`` the
    moment it is about.
    """

    site_id: int
    mark: str
    words: str
    url: str
    station_id: int | None = None
    when: datetime | None = None


Panel = Callable[[Asked], Iterable[Need]]
_PANELS: dict[str, tuple[int, Panel]] = {}


def register_panel(rank: int) -> Callable[[Panel], Panel]:
    """Let a panel be asked; the lower its rank, the earlier its needs stand."""

    def enter(panel: Panel) -> Panel:
        _PANELS[f"{panel.__module__}.{panel.__qualname__}"] = rank, panel
        return panel

    return enter


def needs(asked: Asked) -> list[Need]:
    """Everything that these sites need now, in the order of the panels."""
    if not asked.clocks:
        return []
    in_turn = sorted(_PANELS.values(), key=lambda entered: entered[0])
    return [need for _, panel in in_turn for need in panel(asked)]
