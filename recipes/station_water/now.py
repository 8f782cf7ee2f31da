"""Water that slots got of their station's own: as it was signed, and as it would be now.

A placement holds what was signed. Shots logged since only show here, until the next publication
or re-translation.
"""

from dataclasses import dataclass
from decimal import Decimal

from recipes.formula.control_settings import as_stored, formula_set
from recipes.formula.formula import Formula
from recipes.station_water.cup import Expected, Judged, fact_words
from recipes.station_water.own_water import Learning, translate_own
from recipes.versions.holding import SIGNED_FOR_IT, versions_of
from recipes.versions.models import Version
from stations.equipment.models import Station
from stations.equipment.traits import abilities_of, traits_at
from stations.metrology.formula import WATER
from stations.metrology.translation import Translation
from stations.slots.models import Placement
from web.numbers import rounded

NANO = Decimal("1e-9")  # mL: a quotient has no end of digits
Now = tuple[Translation, Judged]


@dataclass(frozen=True, slots=True)
class WaterNow:
    """What a slot's water is set to [pulses, mL], and what it would be by the shots so far."""

    held: Placement
    version: Version
    pulses: Decimal
    exact: Decimal
    now: Now

    @property
    def water(self) -> Decimal:
        """The water it is set to [mL], to 0.1 mL."""
        return rounded(float(self.exact), 1)

    @property
    def expected(self) -> Expected | None:
        """What the next publication would expect here."""
        return self.now[1].expected

    @property
    def pulses_now(self) -> Decimal | None:
        """What it would be set to now, where that differs; None where it stays."""
        setting = as_stored(self.now[0].settings).get(WATER)
        count = Decimal(setting["value"]) if setting else self.pulses
        return None if count == self.pulses else count

    @property
    def refusals(self) -> list[str]:
        """Why it could not be set now, in sentences."""
        translation, cup = self.now
        return [fact_words(each) for each in (*translation.refusals, *cup.refusals)]

    @property
    def water_now(self) -> Decimal:
        """The water it would be now [mL], to 0.1 mL."""
        return rounded(float(self.expected.water), 1) if self.expected else self.water


def waters_now(station: Station, *, refuse_above_boiling: bool) -> list[WaterNow]:
    """Every slot of the station whose version leaves the water to it, by slot.

    ``refuse_above_boiling`` is the owner's policy, by which it would be placed now.
    """
    rows = Placement.objects.in_force().filter(slot__station=station, manner__in=SIGNED_FOR_IT)
    placements = list(rows.select_related("settings", "slot").order_by("slot__number"))
    versions = versions_of(placements)
    said = {_content(each) for each in placements}
    now = {
        (digest, variant): _now(
            versions[digest].stated_for(variant), station,
            refuse_above_boiling=refuse_above_boiling,
        )
        for digest, variant in said
        if digest in versions
    }  # fmt: skip
    return [
        water
        for each in placements
        if (water := _water(each, versions, now.get(_content(each)), station))
    ]


def water_now(
    placement: Placement, station: Station, *, refuse_above_boiling: bool
) -> WaterNow | None:
    """The same for one slot; None where its water is stated, or nothing signed is in force."""
    waters = waters_now(station, refuse_above_boiling=refuse_above_boiling)
    mine = [each for each in waters if each.held.pk == placement.pk]
    return mine[0] if mine else None


def _content(placement: Placement) -> tuple[str, int | None]:
    return placement.settings.content_digest, placement.settings.variant_id


def _now(formula: Formula, station: Station, *, refuse_above_boiling: bool) -> Now | None:
    machine = station.machine
    if not formula.leaves_water:
        return None
    pairs = [(abilities_of([machine.machine_type_id])[machine.machine_type_id], traits_at(station))]
    done, judged = translate_own(
        formula, [station.pk], pairs, Learning(), refuse_above_boiling=refuse_above_boiling
    )
    return done[0], judged[0]


def _water(
    placement: Placement, versions: dict[str, Version], now: Now | None, station: Station
) -> WaterNow | None:
    pulses = placement.settings.values.get(WATER)
    exact = formula_set(placement.settings.values, traits_at(station)).target(WATER)
    if now is None or pulses is None or exact is None:
        return None
    version = versions[placement.settings.content_digest]
    return WaterNow(placement, version, Decimal(pulses["value"]), exact.quantize(NANO), now)
