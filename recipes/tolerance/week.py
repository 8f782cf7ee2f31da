"""Shots of some days against their tolerance, by bar or station and recipe. Three queries."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from recipes.coffees.models import Recipe
from recipes.versions.models import Version
from stations.equipment.models import Site
from stations.shots.models import CheckShot
from stations.slots.models import ControlSettings
from web.numbers import rounded


@dataclass(frozen=True, slots=True)
class Span:
    """So many days up to one, by each site's own calendar."""

    last: date
    days: int

    @property
    def first(self) -> date:
        """The first of them."""
        return self.last - timedelta(days=self.days - 1)

    def at(self, site: Site) -> tuple[datetime, datetime]:
        """When they begin and end there."""
        begin, end = (
            datetime.combine(day, time(), site.zone)
            for day in (self.first, self.last + timedelta(days=1))
        )
        return begin, end


@dataclass(frozen=True, slots=True)
class Dot:
    """One value of one shot, beside what it was held against; ``day`` counts from the begin."""

    day: float
    value: Decimal
    target: Decimal
    low: Decimal | None
    high: Decimal | None

    @property
    def out(self) -> bool:
        """Whether it is beyond a limit; the limits belong to the tolerance."""
        below = self.low is not None and self.value < self.low
        return below or (self.high is not None and self.value > self.high)


@dataclass
class Group:
    """The shots of one recipe at one bar, or at one of its stations."""

    site: Site
    recipe: Recipe
    station: str = ""
    dots: list[Dot] = field(default_factory=list)

    @property
    def where(self) -> str:
        """The bar, and the station where it is about one."""
        return f"{self.site}, {self.station}" if self.station else str(self.site)

    @property
    def out(self) -> int:
        """How many shots were out."""
        return sum(dot.out for dot in self.dots)

    @property
    def off(self) -> Decimal:
        """By how much they differ from their target in the mean, signed."""
        gone = sum((dot.value - dot.target for dot in self.dots), Decimal())
        return rounded(float(gone) / len(self.dots), 2)


Key = tuple[int, int, str]  # site, recipe, station


def groups_of(
    sites: Sequence[Site], span: Span, code: str, *, recipe: Recipe | None, by_station: bool
) -> list[Group]:
    """The groups of these sites, in their order; shots without a target are left out."""
    by_pk = {site.pk: site for site in sites}
    spans = {site.pk: span.at(site) for site in sites}
    rows = list(_rows(spans, code))
    cups = _cups({row[-1] for row in rows})
    recipes = _recipes({digest for _, digest in cups.values()})
    found: dict[Key, Group] = {}
    for site, machine, number, at, value, settings in rows:
        cup, digest = cups[settings]
        of = recipes.get(digest)
        dot = _dot(value, cup.get(code, {}), at, spans[site])
        if of is None or dot is None or (recipe is not None and of != recipe):
            continue
        station = f"{machine}, station {number}" if by_station else ""
        group = found.setdefault((site, of.pk, station), Group(by_pk[site], of, station))
        group.dots.append(dot)
    return sorted(found.values(), key=lambda one: (one.site.name, one.station, str(one.recipe)))


Ends = tuple[datetime, datetime]


def _rows(spans: Mapping[int, Ends], code: str) -> Any:  # noqa: ANN401
    if not spans:
        return CheckShot.objects.none().values_list()
    shots = CheckShot.objects.counted().filter(
        site__in=spans, at__gte=min(begin for begin, _ in spans.values()),
        at__lt=max(end for _, end in spans.values()),
    ).exclude(**{code: None})  # fmt: skip
    return shots.order_by("at", "pk").values_list(
        "site", "slot__station__machine__name", "slot__station__number", "at", code,
        "placement__settings",
    )  # fmt: skip


def _cups(settings: set[int]) -> dict[int, tuple[Mapping[str, Mapping[str, str]], str]]:
    """What shots are held against under these settings (ids), and the content they are of."""
    rows = ControlSettings.objects.filter(pk__in=settings)
    told = rows.values_list("pk", "cup", "content_digest")
    return {pk: (cup or {}, digest) for pk, cup, digest in told}


def _recipes(digests: set[str]) -> dict[str, Recipe]:
    rows = Version.objects.select_related("recipe__coffee").signed_as(digests - {""})
    return {version.content_digest: version.recipe for version in rows}


def _dot(value: Decimal, held: Mapping[str, str], at: datetime, span: Ends) -> Dot | None:
    begin, end = span
    if "target" not in held or not begin <= at < end:
        return None
    target = Decimal(held["target"])
    low = target - Decimal(held["below"]) if held.get("below") else None
    high = target + Decimal(held["above"]) if held.get("above") else None
    return Dot((at - begin) / timedelta(days=1), value, target, low, high)
