"""Water that slots got of their station's own: as it was signed, and as it would be now.

A placement holds what was signed. Shots logged since only show here, until the next publication
or re-translation.
"""

from dataclasses import dataclass
from decimal import Decimal

from recipes.station_water.volumes import WATER, leaves_water
from recipes.station_water.words import Expected
from recipes.translation.translating import StationTranslation, quantities, translate_for
from recipes.versions.holding import SIGNED_FOR_IT, versions_of
from recipes.versions.models import Version
from stations.equipment.models import Station
from stations.slots.models import Placement
from web.numbers import rounded

NANO = Decimal("1e-9")  # mL: a quotient has no end of digits


@dataclass(frozen=True, slots=True)
class WaterNow:
    """What a slot's water is set to [pulses, mL], and what it would be by the shots so far."""

    held: Placement
    version: Version
    pulses: Decimal
    exact: Decimal
    now: StationTranslation

    @property
    def water(self) -> Decimal:
        """The water it is set to [mL], to 0.1 mL."""
        return rounded(float(self.exact), 1)

    @property
    def expected(self) -> Expected | None:
        """What the next publication would expect here."""
        return self.now.expected

    @property
    def pulses_now(self) -> Decimal | None:
        """What it would be set to now, where that differs; None where it stays."""
        found = self.now.values.get(WATER)
        if found is None or Decimal(found["value"]) == self.pulses:
            return None
        return Decimal(found["value"])

    @property
    def water_now(self) -> Decimal:
        """The water it would be now [mL], to 0.1 mL."""
        return rounded(float(self.now.expected.water), 1) if self.now.expected else self.water


def waters_now(station: Station) -> list[WaterNow]:
    """Every slot of the station whose version leaves the water to it, by slot."""
    rows = Placement.objects.in_force().filter(slot__station=station, basis__in=SIGNED_FOR_IT)
    held = list(rows.select_related("settings", "slot").order_by("slot__number"))
    found = versions_of(held)
    now = {digest: _now(version, station) for digest, version in found.items()}
    return [
        told
        for each in held
        if (told := _water(each, found, now.get(each.settings.content_digest), station))
    ]


def water_now(held: Placement, station: Station) -> WaterNow | None:
    """The same for one slot; None where its water is stated, or nothing signed is in force."""
    mine = [each for each in waters_now(station) if each.held.pk == held.pk]
    return mine[0] if mine else None


def _now(version: Version, station: Station) -> StationTranslation | None:
    formula = quantities(version.formula.all())
    if not leaves_water({each.code: each for each in formula}):
        return None
    return translate_for(formula, Station.objects.filter(pk=station.pk))[station.pk]


def _water(
    held: Placement,
    versions: dict[str, Version],
    now: StationTranslation | None,
    station: Station,
) -> WaterNow | None:
    pulses, slope = held.settings.values.get(WATER), station.pulses_per_millilitre
    if now is None or pulses is None or slope is None:
        return None
    count = Decimal(pulses["value"])
    exact = (count / slope).quantize(NANO)
    return WaterNow(held, versions[held.settings.content_digest], count, exact, now)
