"""What a station's coffee keeps back, learnt from its shots, and the water a beverage takes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from itertools import chain
from typing import Any

import numpy as np
from django.db import connection

from recipes.brewing.balance import forecast_beverage, water_for
from recipes.brewing.balances import (
    Floats,
    House,
    Retentions,
    house_of,
    learn_retentions,
    retained_ratios,
    retention_at,
    waters_for,
)
from stations.equipment.models import Station
from stations.equipment.replaced import Part
from stations.metrology.formula import BASKET, BY_WATER, ENDS_BY, WATER
from stations.shots.models import CheckShot
from web.numbers import rounded

NEWEST = 200  # shots of a station that are learnt from
RECENT = 100  # shots whose stations stand for all
# What a puck and the space above it keep doesn't grow in step with the dose, so that singles say
# little of doubles: doses this far from a recipe's are no measure of it (our choice, no source).
LIKE_DOSE = Decimal("0.15")
ANY_DOSE = (Decimal(0), Decimal(1000))


@dataclass(frozen=True, slots=True)
class Like:
    """Which shots are learnt from: of about that dose [g], and of no other basket.

    What a gram keeps back rests on these two; that one coffee keeps about what another does is
    common practice, no source, so that coffee, drink and version don't matter. A shot whose recipe
    names no basket counts for each.
    """

    doses: tuple[Decimal, Decimal] = ANY_DOSE
    basket: str = ""

    @classmethod
    def of(cls, dose: Decimal, basket: str = "") -> "Like":
        """As a recipe of that dose and basket; an empty basket is any."""
        least, most = (rounded(float(dose * (1 + side)), 2) for side in (-LIKE_DOSE, LIKE_DOSE))
        return cls((least, most), basket.strip().lower())


ANY = Like()

LIKE = f"""(one.dose_mass BETWEEN %(least)s AND %(most)s AND (%(basket)s::text = ''
    OR CASE WHEN own.variant_id IS NULL
        THEN own.content_digest NOT IN (SELECT v.content_digest FROM recipes_version v
            JOIN recipes_formulavalue f ON f.version_id = v.id AND f.code = '{BASKET}'
            WHERE v.content_digest <> '' AND lower(btrim(f.text)) <> %(basket)s)
        ELSE (own.content_digest, own.variant_id) NOT IN (
            SELECT v.content_digest, f.machine_type_id FROM recipes_version v
            JOIN recipes_variantvalue f ON f.version_id = v.id AND f.code = '{BASKET}'
            WHERE v.content_digest <> '' AND lower(btrim(f.text)) <> %(basket)s) END))
"""  # noqa: S608 - constants only


def _newest_of_slots(where: str) -> str:
    """The newest shots that ended by water, of each slot no more than count.

    Pulses as set, not what was asked for: they are what passed the meter, the one of now.
    """
    return f"""
    FROM stations_slot slot, LATERAL (
        SELECT one.*, own."values" FROM stations_checkshot one
        JOIN stations_placement placed ON placed.id = one.placement_id
        JOIN stations_controlsettings own ON own.id = placed.settings_id
        WHERE one.slot_id = slot.id AND NOT one.left_out
            AND own."values" -> '{ENDS_BY}' ->> 'value' = '{BY_WATER}'
            AND own."values" ? '{WATER}'
            AND one.at < coalesce(%(until)s::timestamptz, 'infinity')
            AND one.at > coalesce((SELECT max(r.at) FROM stations_replacement r
                WHERE r.station_id = slot.station_id AND r.part = '{Part.FLOW_METER}'), '-infinity')
            AND {where}
        ORDER BY one.at DESC, one.id DESC LIMIT %(newest)s
    ) AS shot
    WHERE slot.station_id = ANY(%(stations)s)
    """  # noqa: S608 - constants only


# One row a station.
SHOTS = f"""
SELECT station_id, array_agg(dose), array_agg(pulses), array_agg(beverage) FROM (
    SELECT slot.station_id, shot.dose_mass::float8 AS dose, shot.beverage_mass::float8 AS beverage,
        (shot."values" -> '{WATER}' ->> 'value')::float8 AS pulses,
        row_number() OVER (PARTITION BY slot.station_id
            ORDER BY shot.at DESC, shot.id DESC) AS place
    {_newest_of_slots(LIKE)}
) AS newest WHERE place <= %(newest)s GROUP BY station_id
"""  # noqa: S608 - constants only
COUNTS = f"""
SELECT (SELECT count(*) {_newest_of_slots(LIKE)}),
    (SELECT count(*) {_newest_of_slots(f"NOT {LIKE}")})
"""


def _asked(stations: Sequence[int], like: Like, until: datetime | None = None) -> dict[str, Any]:
    least, most = like.doses
    return {
        "stations": list(stations), "until": until, "newest": NEWEST,
        "least": least, "most": most, "basket": like.basket,
    }  # fmt: skip


def learn(
    stations: Sequence[int],
    slopes: Sequence[Decimal | None],
    until: datetime | None = None,
    like: Like = ANY,
) -> Retentions:
    """What each station keeps back, in the order given: one query, whatever their number.

    ``slopes`` are their pulses per mL; without one nothing can be learnt. ``until`` leaves out
    shots logged from then on, ``like`` those of another dose or basket.
    """
    with connection.cursor() as cursor:
        cursor.execute(SHOTS, _asked(stations, like, until))
        rows = cursor.fetchall()
    places = {pk: place for place, pk in enumerate(stations)}
    sizes = [len(row[1]) for row in rows]
    whose = np.repeat(np.array([places[row[0]] for row in rows], dtype=np.int64), sizes)
    dose, pulses, beverage = (_column([row[at] for row in rows], sum(sizes)) for at in (1, 2, 3))
    known = np.array([np.nan if each is None else float(each) for each in slopes])
    ratios = retained_ratios(dose, pulses / known[whose], beverage)
    return learn_retentions(whose, ratios, len(stations))


def _column(lists: Sequence[list[float]], count: int) -> Floats:
    return np.fromiter(chain.from_iterable(lists), np.float64, count)


def typical_water(dose: Decimal, beverage: Decimal, sites: Sequence[int]) -> Floats:
    """The water [mL] for that beverage [g] at the sites' stations that poured most recently.

    Two queries.
    """
    retentions = _recent(dose, sites)
    return waters_for(retentions, dose=float(dose), beverage=float(beverage))[retentions.learnt]


def house_retention(dose: Decimal, sites: Sequence[int]) -> House | None:
    """What the coffee keeps at the sites' stations that poured most recently, from like doses.

    None where no station has five such shots that ended by water. Two queries.
    """
    return house_of(_recent(dose, sites))


def _recent(dose: Decimal, sites: Sequence[int]) -> Retentions:
    """Of the newest shots' stations only, so that a draft follows as it is typed."""
    recent = CheckShot.objects.counted().filter(site__in=sites).order_by("-id")[:RECENT]
    stations = Station.objects.filter(slots__in=recent.values("slot")).distinct()
    rows = list(stations.values_list("pk", "pulses_per_millilitre"))
    return learn([row[0] for row in rows], [row[1] for row in rows], like=Like.of(dose))


@dataclass(frozen=True, slots=True)
class Balance:
    """Retained liquid in g per g with its interval, water in mL for a beverage, and the forecast.

    ``low`` to ``high`` is the beverage [g] of the next single shot with 95 % confidence. ``alike``
    counts the newest shots of each slot of about that dose and no other basket, ``apart`` the
    newest of the rest that ended by water.
    """

    ratio: tuple[Decimal, Decimal, Decimal]
    learnt: bool
    used: int
    set_aside: int
    water: Decimal
    pulses: Decimal | None
    low: Decimal
    high: Decimal
    doses: tuple[Decimal, Decimal]
    alike: int
    apart: int


def balance_of(station: Station, dose: Decimal, beverage: Decimal, basket: str = "") -> Balance:
    """The water for that beverage mass [g] from that dose [g] at this station.

    Learnt from whatever version poured about that dose from that basket (empty: any). Raises
    QuantityError naming dose or beverage.
    """
    like = Like.of(dose, basket)
    retentions = learn([station.pk], [station.pulses_per_millilitre], like=like)
    retention = retention_at(retentions, 0)
    water = water_for(retention, dose=float(dose), beverage=float(beverage))
    next_shot = forecast_beverage(retention, dose=float(dose), water=water)
    pulses, volume = station.pulses_per_millilitre, rounded(water, 1)
    return Balance(
        (rounded(retention.low, 2), rounded(retention.ratio, 2), rounded(retention.high, 2)),
        retention.learnt, retention.used, int(retentions.aside[0]), volume,
        None if pulses is None else rounded(float(pulses) * water, 0),
        rounded(next_shot.low, 1), rounded(next_shot.high, 1),
        like.doses, *_counts(station, like),
    )  # fmt: skip


def _counts(station: Station, like: Like) -> tuple[int, int]:
    """How many shots are learnt from, and how many of another dose or basket are not."""
    with connection.cursor() as cursor:
        cursor.execute(COUNTS, _asked([station.pk], like))
        alike, apart = cursor.fetchone()
    return int(alike), int(apart)
