"""A plan as people read it: its sites in numbers, and what is said of their water."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from recipes.planning.plan import Outcome
from recipes.publishing.plan import PublicationLine, PublicationPlan
from recipes.publishing.timing import Due
from stations.equipment.models import Site
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
    """Every site of the plan, in reading order; the hottest that it gets counts."""
    said = plan.version.formulas.items()
    warm = {variant: formula.target(TEMPERATURE) for variant, formula in said}
    return [_part(site, due, lines, _hottest(lines, warm)) for site, due, lines in plan.by_site()]


def _hottest(
    lines: Sequence[PublicationLine], warm: Mapping[int | None, Decimal | None]
) -> Decimal | None:
    """The highest brew temperature among these slots [°C]."""
    given = {line.translation.variant if line.translation else None for line in lines}
    return max((t for each in given if (t := warm.get(each)) is not None), default=None)


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
