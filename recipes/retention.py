"""What a station's coffee keeps back, learnt from its shots, and the water a beverage takes."""

from dataclasses import dataclass
from decimal import Decimal

from recipes.brewing.balance import (
    ASSUMED,
    FEWEST_SHOTS,
    Retention,
    Shot,
    forecast_beverage,
    learn_retention,
    retained_ratio,
    water_for,
)
from recipes.brewing.errors import QuantityError
from stations.models import CheckShot, Station
from stations.rounded import rounded

NEWEST = 200  # shots learnt from


@dataclass(frozen=True, slots=True)
class Balance:
    """Retained liquid in g per g with its interval, water in mL for a beverage, and the forecast.

    ``low`` to ``high`` is the beverage [g] of the next single shot with 95 % confidence.
    """

    ratio: tuple[Decimal, Decimal, Decimal]
    learnt: bool
    used: int
    set_aside: int
    water: Decimal
    pulses: Decimal | None
    low: Decimal
    high: Decimal


def shots_of(station: Station) -> list[Shot]:
    """The newest counted shots that ended by water volume; water as set, by the flow meter."""
    rows = CheckShot.objects.counted().filter(
        slot__station=station, placement__settings__values__ends_by__value="volume"
    )
    per_millilitre = station.pulses_per_millilitre
    if per_millilitre is None:
        return []
    found = [
        _shot(shot, per_millilitre)
        for shot in rows.select_related("placement__settings").order_by("-id")[:NEWEST]
    ]
    return [shot for shot in found if shot is not None]


def _shot(shot: CheckShot, per_millilitre: Decimal) -> Shot | None:
    """None where the scale says more than water and coffee together can weigh."""
    pulses = shot.placement.settings.values.get("water_volume", {}).get("value")
    if pulses is None:
        return None
    water = float(Decimal(pulses) / per_millilitre)
    found = Shot(float(shot.dose_mass), water, float(shot.beverage_mass))
    try:
        retained_ratio(found)
    except QuantityError:
        return None
    return found


def retention_of(shots: list[Shot]) -> Retention:
    """Learnt from five shots on; before, what is common practice, and it says so."""
    return learn_retention(shots) if len(shots) >= FEWEST_SHOTS else ASSUMED


def balance_of(station: Station, dose: Decimal, beverage: Decimal) -> Balance:
    """The water for that beverage mass [g] from that dose [g] at this station.

    Raises QuantityError naming dose or beverage.
    """
    found = retention_of(shots_of(station))
    water = water_for(found, dose=float(dose), beverage=float(beverage))
    next_shot = forecast_beverage(found, dose=float(dose), water=water)
    pulses, volume = station.pulses_per_millilitre, rounded(water, 1)
    return Balance(
        (rounded(found.low, 2), rounded(found.ratio, 2), rounded(found.high, 2)),
        found.learnt, found.used, len(found.set_aside), volume,
        None if pulses is None else rounded(float(pulses) * water, 0),
        rounded(next_shot.low, 1), rounded(next_shot.high, 1),
    )  # fmt: skip
