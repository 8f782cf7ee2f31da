"""What a site's water hints at, and how it compares with other sites'."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from statistics import median_low

from stations.equipment.models import Site
from stations.metrology.errors import BadValueError
from stations.metrology.water import Difference, Langelier, Method, WaterSample, compare, langelier
from stations.water.models import WaterReading
from web.numbers import rounded

BOILER = Decimal(120)  # °C; a usual brew or steam boiler's order of size, common practice


@dataclass(frozen=True, slots=True)
class Index:
    """A Langelier index as a page shows it, its method named."""

    method: str
    value: Decimal
    hint: str
    extrapolated: bool


@dataclass(frozen=True, slots=True)
class Beside:
    """Another site's newest reading, and in words what differs much."""

    site: Site
    reading: WaterReading
    much: list[str]


def indices(reading: WaterReading, temperature: Decimal = BOILER) -> list[Index]:
    """The index by each method at that temperature [°C]; none for water without hardness."""
    found = [_index(reading, temperature, method) for method in Method]
    return [each for each in found if each is not None]


def _index(reading: WaterReading, temperature: Decimal, method: Method) -> Index | None:
    try:
        found: Langelier = langelier(
            ph=reading.ph,
            temperature=temperature,
            calcium_hardness=reading.hardness_converted,
            alkalinity=reading.alkalinity_converted,
            dissolved_solids=reading.dissolved_solids,
            method=method,
        )
    except BadValueError:
        return None
    return Index(method.value, rounded(found.value, 1), found.hint, found.extrapolated)


def beside(reading: WaterReading, others: Iterable[WaterReading]) -> list[Beside]:
    """The other sites' readings against this one, those that differ much first."""
    rows = [Beside(each.site, each, _much(reading, each)) for each in others]
    rows = [row for row in rows if row.site.pk != reading.site_id]
    return sorted(rows, key=lambda row: (not row.much, row.site.name))


@dataclass(frozen=True, slots=True)
class Differing:
    """A site whose water differs much from the middle of several, and in what, in words."""

    site: Site
    taken_on: date
    words: list[str]


def differing(readings: Sequence[WaterReading]) -> list[Differing]:
    """The sites whose newest reading differs much from the middle one, property by property.

    The lower middle where two share it, so that of two sites one is named against the other.
    Temperature is left out: machines heat it anyway.
    """
    if len(readings) < 2:
        return []
    middle = WaterSample(
        ph=median_low(each.ph for each in readings),
        hardness=median_low(each.hardness_converted for each in readings),
        alkalinity=median_low(each.alkalinity_converted for each in readings),
        dissolved_solids=median_low(each.dissolved_solids for each in readings),
    )
    rows = [Differing(each.site, each.taken_on, _against(middle, each)) for each in readings]
    return sorted((row for row in rows if row.words), key=lambda row: row.site.name)


def _against(middle: WaterSample, reading: WaterReading) -> list[str]:
    return [
        f"{_words(each)} (others about {rounded(each.first, 1)})"
        for each in compare(middle, _sample(reading))
        if each.much
    ]


def _much(one: WaterReading, other: WaterReading) -> list[str]:
    return [
        f"{_words(each)} (here {rounded(each.first, 1)})"
        for each in compare(_sample(one), _sample(other))
        if each.much
    ]


def _words(difference: Difference) -> str:
    unit = "" if difference.unit == "pH" else f" {difference.unit}"
    return f"{difference.name} {rounded(difference.second, 1)}{unit}"


def _sample(reading: WaterReading) -> WaterSample:
    return WaterSample(
        ph=reading.ph,
        hardness=reading.hardness_converted,
        alkalinity=reading.alkalinity_converted,
        dissolved_solids=reading.dissolved_solids,
        temperature=reading.temperature_converted,
    )
