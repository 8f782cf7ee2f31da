"""A plan as people read it: site by site, and within one site station by station."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from recipes.publishing.plan import Line, Outcome, Plan
from recipes.publishing.timing import Due
from stations.models import Site
from stations.printing import Printed, printed


@dataclass(frozen=True)
class SitePart:
    """One site's share of a plan, in numbers."""

    site: Site
    due: Due
    place: int
    same: int
    refuse: int


@dataclass(frozen=True)
class StationPart:
    """One station of a plan: its settings, what is said against them, and its slots."""

    place: str
    settings: list[Printed]
    refusals: tuple[str, ...]
    flags: tuple[str, ...]
    lines: list[Line]


def site_parts(plan: Plan) -> list[SitePart]:
    """Every site of the plan, in reading order."""
    return [
        SitePart(
            site,
            due,
            sum(line.outcome is Outcome.PLACE for line in lines),
            sum(line.outcome is Outcome.SAME for line in lines),
            sum(line.outcome is Outcome.REFUSE for line in lines),
        )
        for site, due, lines in plan.by_site()
    ]


def station_parts(plan: Plan, site_id: int) -> Iterator[StationPart]:
    """The stations of one site, with every slot."""
    mine = [line for line in plan.lines if line.target.site_id == site_id]
    for station_id, group in groupby(mine, key=lambda line: line.target.station_id):
        lines, station = list(group), plan.stations[station_id]
        first = lines[0].target
        yield StationPart(
            f"{first.machine} · station {first.station_number}",
            printed(station.values),
            station.refusals,
            station.flags,
            lines,
        )
