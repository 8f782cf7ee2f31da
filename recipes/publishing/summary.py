"""A plan as people read it: site by site, and within one site slot by slot."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from recipes.planning.plan import Outcome
from recipes.publishing.plan import PublicationLine, PublicationPlan
from recipes.publishing.timing import Due
from recipes.station_water.cup import Expected
from stations.equipment.models import Site
from stations.machine_types.catalogue import Printed, printed
from stations.metrology.formula import TEMPERATURE
from stations.water.models import WaterReading
from stations.water.reading import Differing, differing


@dataclass(frozen=True)
class SitePart:
    """One site's share of a plan, in numbers."""

    site: Site
    due: Due
    place: int
    same: int
    refuse: int
    boiling: Decimal  # °C
    margin: Decimal | None  # K below boiling; None where the recipe states no temperature


def site_parts(plan: PublicationPlan) -> list[SitePart]:
    """Every site of the plan, in reading order."""
    warm = plan.version.stated.target(TEMPERATURE)
    return [_part(site, due, lines, warm) for site, due, lines in plan.by_site()]


def _part(site: Site, due: Due, lines: Sequence[PublicationLine], warm: Decimal | None) -> SitePart:
    counts, boiling = Counter(line.outcome for line in lines), site.boiling_point
    return SitePart(
        site,
        due,
        counts[Outcome.PLACE],
        counts[Outcome.SAME],
        counts[Outcome.REFUSE],
        boiling,
        None if warm is None else boiling - warm,
    )


def water_beside(plan: PublicationPlan) -> list[Differing]:
    """The plan's sites whose water differs much, or can't be compared: one query."""
    readings = WaterReading.objects.filter(site__in=plan.sites).newest_of_each_site()
    return differing(list(readings.select_related("site")))


@dataclass(frozen=True)
class SlotRow:
    """One slot of a plan and what it would be set to."""

    line: PublicationLine
    settings: list[Printed]
    expected: Expected | None = None


@dataclass(frozen=True)
class SiteTable:
    """The slots of one site, and what was flagged there."""

    site: Site
    rows: list[SlotRow]
    flags: list[str]


def _sentence(flag: str) -> str:
    """One or several sentences; the last of some comes without its full stop."""
    return flag.rstrip(".") + "."


def site_table(plan: PublicationPlan, site_id: int) -> SiteTable:
    """Every slot of one site, with its settings and what is said against them."""
    lines = [line for line in plan.lines if line.slot.site_id == site_id]
    stations = {line.slot.station_id for line in lines}
    settings = {pk: printed(plan.stations[pk].values) for pk in stations}
    return SiteTable(
        plan.sites[site_id],
        [
            SlotRow(line, settings[pk], plan.stations[pk].expected)
            for line in lines
            if (pk := line.slot.station_id)
        ],
        sorted({_sentence(flag) for pk in stations for flag in plan.stations[pk].flags}),
    )
