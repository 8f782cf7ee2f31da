"""What a site's water hints at, and how it compares with other sites'."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from statistics import median_low

from stations.equipment.models import Site
from stations.metrology.errors import BadValueError
from stations.metrology.water import (
    Difference,
    Langelier,
    Method,
    WaterSample,
    compare,
    langelier,
    not_compared,
)
from stations.metrology.water_estimates import chloride_to_alkalinity, solids_from_conductivity
from stations.water.models import WaterReading
from web.numbers import rounded

BOILER = Decimal(120)  # °C; a usual brew or steam boiler's order of size, common practice
BEYOND = "less in the water: it is beyond what the method was made for"


@dataclass(frozen=True, slots=True)
class Index:
    """A Langelier index as a page shows it, its method named.

    `low` and `high` differ from the value where dissolved solids were estimated.
    """

    method: str
    value: Decimal
    hint: str
    extrapolated: bool
    low: Decimal
    high: Decimal


@dataclass(frozen=True, slots=True)
class Solids:
    """Dissolved solids [mg/L] for an index: read, or estimated from conductivity, and the span."""

    value: Decimal
    low: Decimal
    high: Decimal
    estimated: bool


@dataclass(frozen=True, slots=True)
class Hints:
    """What a reading hints at, and the names of what it lacks for each."""

    indices: list[Index]
    needs: list[str]  # for the index
    solids: Solids | None
    chloride: Decimal | None  # over alkalinity, in equivalents
    chloride_needs: list[str]


@dataclass(frozen=True, slots=True)
class Beside:
    """Another site's newest reading, in words what differs much, and what can't be compared."""

    site: Site
    reading: WaterReading
    much: list[str]
    unread: list[str]


def hints(reading: WaterReading, temperature: Decimal = BOILER) -> Hints:
    """The index by each method at that temperature [°C], and the chloride; else what they need."""
    solids = solids_of(reading)
    needs = _needs(reading, solids)
    found = [] if solids is None or needs else _indices(reading, solids, temperature)
    short = [] if reading.chloride is not None else ["chloride"]
    short += _above_zero("alkalinity", reading.alkalinity_converted)
    ratio = None if short else _chloride_ratio(reading)
    return Hints(
        indices=found,
        needs=needs or ([] if found else [BEYOND]),
        solids=solids,
        chloride=ratio,
        chloride_needs=short or ([] if ratio is not None else [BEYOND]),
    )


def _chloride_ratio(reading: WaterReading) -> Decimal | None:
    """Chloride over alkalinity; None for water beyond what that was made for."""
    salt, buffer = reading.chloride or Decimal(0), reading.alkalinity_converted or Decimal(0)
    try:
        return rounded(chloride_to_alkalinity(salt, buffer), 2)
    except BadValueError:
        return None


def solids_of(reading: WaterReading) -> Solids | None:
    """Dissolved solids as read; else estimated from conductivity, and saying so; else None."""
    if reading.dissolved_solids is not None:
        read = reading.dissolved_solids
        return Solids(read, read, read, estimated=False)
    if reading.conductivity is None:
        return None
    told = solids_from_conductivity(reading.conductivity)
    value, low, high = (rounded(one, 1) for one in (told.value, told.low, told.high))
    return Solids(value, low, high, estimated=True)


def _needs(reading: WaterReading, solids: Solids | None) -> list[str]:
    """What an index lacks, by name."""
    return [
        *(["pH"] if reading.ph is None else []),
        *_above_zero("hardness", reading.hardness_converted),
        *_above_zero("alkalinity", reading.alkalinity_converted),
        *(["dissolved solids or conductivity"] if solids is None else []),
    ]


def _above_zero(name: str, value: Decimal | None) -> list[str]:
    """The name where the value is missing, or where there is none of it to compute with."""
    return [name] if value is None else [] if value else [f"{name} above zero"]


def _indices(reading: WaterReading, solids: Solids, temperature: Decimal) -> list[Index]:
    found = [_index(reading, solids, temperature, method) for method in Method]
    return [each for each in found if each is not None]


def _index(
    reading: WaterReading, solids: Solids, temperature: Decimal, method: Method
) -> Index | None:
    def at(dissolved: Decimal) -> Langelier:
        return langelier(
            ph=reading.ph or Decimal(0),
            temperature=temperature,
            calcium_hardness=reading.hardness_converted or Decimal(0),
            alkalinity=reading.alkalinity_converted or Decimal(0),
            dissolved_solids=dissolved,
            method=method,
        )

    try:
        found, *ends = at(solids.value), at(solids.low), at(solids.high)
    except BadValueError:
        return None
    low, high = sorted(rounded(one.value, 1) for one in ends)
    value = rounded(found.value, 1)
    return Index(method.value, value, found.hint, found.extrapolated, low, high)


def beside(reading: WaterReading, others: Iterable[WaterReading]) -> list[Beside]:
    """The other sites' readings against this one, those that differ much first."""
    here = _sample(reading)
    rows = [
        Beside(
            each.site, each, _much(reading, each),
            [*(f"{name} (not read there)" for name in not_compared(here, _sample(each))),
             *(f"{name} (not read here)" for name in not_compared(_sample(each), here))],
        )
        for each in others
    ]  # fmt: skip
    rows = [row for row in rows if row.site.pk != reading.site_id]
    return sorted(rows, key=lambda row: (not row.much, row.site.name))


@dataclass(frozen=True, slots=True)
class Differing:
    """A site's water against the middle of several: what differs much, in words, and what that
    can't be said of, since only others' readings have it."""

    site: Site
    taken_on: date
    words: list[str]
    unread: list[str]


def differing(readings: Sequence[WaterReading]) -> list[Differing]:
    """The sites whose newest reading differs much from the middle one, property by property, or
    lacks one that others have.

    The lower middle where two share it, so that of two sites one is named against the other.
    Temperature is left out: machines heat it anyway.
    """
    if len(readings) < 2:
        return []
    middle = _middle(readings)
    rows = [
        Differing(
            each.site, each.taken_on, _against(middle, each), not_compared(middle, _sample(each))
        )
        for each in readings
    ]
    return sorted((row for row in rows if row.words or row.unread), key=lambda row: row.site.name)


def _middle(readings: Sequence[WaterReading]) -> WaterSample:
    """The middle of what was read, property by property; None where nobody read it."""

    def middle(name: str) -> Decimal | None:
        read = [value for each in readings if (value := getattr(each, name)) is not None]
        return median_low(read) if read else None

    return WaterSample(
        ph=middle("ph"),
        hardness=middle("hardness_converted"),
        alkalinity=middle("alkalinity_converted"),
        dissolved_solids=middle("dissolved_solids"),
        conductivity=middle("conductivity"),
        chloride=middle("chloride"),
    )


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
        conductivity=reading.conductivity,
        chloride=reading.chloride,
    )
