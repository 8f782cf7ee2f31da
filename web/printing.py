"""How numbers, units and times are printed for people, on pages and on paper alike.

A number prints digit for digit as it is stored. A binary float has no stored digits, so it is
refused rather than guessed at.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, tzinfo
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from zoneinfo import ZoneInfo

from django.utils import dateformat
from django.utils.timesince import timesince, timeuntil
from django.utils.timezone import now

from web import units

THIN = "\u202f"  # narrow no-break space, between groups of three digits
SPACE = "\u00a0"  # no-break space, between a number and its unit (ISO 80000-1)
MINUS = "\u2212"
NONE = "\u2013"

# UCUM code on the left (what is stored and what the API says), print form on the right.
UNITS: dict[str, str] = {
    "": "",
    "1": "",
    "Cel": "°C",
    "Cel{difference}": "°C",
    "[degF]": "°F",
    "[degF]{difference}": "°F",
    "[oz_av]": "oz",
    "K": "K",
    "%": "%",
    "bar": "bar",
    "hPa": "hPa",
    "kPa": "kPa",
    "g": "g",
    "g/mL": "g/mL",
    "kg/m3": "kg/m³",
    "mL": "mL",
    "mL/s": "mL/s",
    "g/s": "g/s",
    "s": "s",
    "min": "min",
    "h": "h",
    "m": "m",
    "mm": "mm",
    "um": "µm",
    "uS/cm": "µS/cm",
    "{pulse}/mL": "pulses/mL",
}
# Units that are words: what one of them is called, and several.
COUNTED: dict[str, tuple[str, str]] = {
    "d": ("day", "days"),
    "{pulse}": ("pulse", "pulses"),
    "{shot}": ("shot", "shots"),
    "{slot}": ("slot", "slots"),
}


def unit_label(code: str | None, text: str = "") -> str:
    """The print form of a UCUM code, beside a number printed as `text`: 1 pulse, 2 pulses.

    A code not listed prints as it is written.
    """
    code = code or ""
    if code in COUNTED:
        one, several = COUNTED[code]
        return one if text.lstrip(MINUS) == "1" else several
    return UNITS.get(code, code.strip("{}"))


def counted(count: int, one: str, several: str = "") -> str:
    """A number of things in words: 1 slot, 2 slots, 10,000 slots grouped as numbers are."""
    return f"{number(count)} {one if count == 1 else several or one + 's'}"


NUMBERED = 6  # things named by number; more are only counted


def numbered(one: str, numbers: Sequence[int]) -> str:
    """Things by their numbers: slot 2, slots 1, 3; many are counted."""
    if len(numbers) > NUMBERED:
        return counted(len(numbers), one)
    return f"{one if len(numbers) == 1 else one + 's'} {', '.join(map(str, numbers))}"


def _grouped(digits: str) -> str:
    """Groups of three from five digits on, as ISO 80000-1 prints them."""
    if len(digits) < 5:
        return digits
    head = len(digits) % 3 or 3
    return THIN.join([digits[:head], *(digits[i : i + 3] for i in range(head, len(digits), 3))])


def exact(value: object) -> Decimal | None:
    """The number a value stands for, or None: for text, and for what is no finite number."""
    if isinstance(value, bool | float):
        return None
    try:
        parsed = Decimal(str(value).strip())
    except InvalidOperation:
        return None
    return parsed if parsed.is_finite() else None


def number(value: object) -> str:
    """The number as stored, with a true minus and thin groups; text that is no number unchanged.

    Raises TypeError for a binary float: print the Decimal it came from.
    """
    if isinstance(value, float):
        raise TypeError("a binary float has no exact digits to print; pass a Decimal")
    if value is None or value == "":
        return NONE
    if isinstance(value, bool):
        return "yes" if value else "no"
    parsed = exact(value)
    if parsed is None:
        return str(value)
    whole, point, part = format(abs(parsed), "f").partition(".")
    return (MINUS if parsed.is_signed() else "") + _grouped(whole) + point + part


@dataclass(frozen=True, slots=True)
class Figure:
    """A value in one unit as it is printed, with its tolerance; `unit` is printed too."""

    text: str
    unit: str
    tolerance: str = ""


def figures(
    value: object, code: str | None = "", below: object = None, above: object = None
) -> list[Figure]:
    """A value in the units of whoever reads: one, or the stored one and the other beside it."""
    code, choice = code or "", units.chosen()
    found = choice.other_for(code)
    stored, here = exact(value), Figure(number(value), "", tolerance(below, above))
    if stored is None:
        return [replace(here, unit="" if here.text == NONE else unit_label(code, here.text))]
    if code and units.from_other(stored, code):
        here = replace(here, text=number(_rounded(stored, 2)))
    here = replace(here, unit=unit_label(code, here.text))
    if not found:
        return [here]
    sides = [units.read(side, units.step_of(found)) if side is not None else None
             for side in (exact(below), exact(above))]  # fmt: skip
    there = Figure(number(units.read(stored, found)), unit_label(found), tolerance(*sides))
    return [here, there] if choice.beside(code) else [there]


def _rounded(value: Decimal, places: int) -> Decimal:
    return value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)


def quantity(value: object, code: str | None = "") -> str:
    """Number and unit, as in 93.0 °C; nothing but the dash where there is no value.

    On a page of somebody who reads °F or oz: 199.4 °F, or 93.0 °C (199.4 °F).
    """
    first, *more = (
        f"{one.text}{SPACE}{one.unit}" if one.unit and one.text != NONE else one.text
        for one in figures(value, code)
    )
    return " ".join([first, *(f"({one})" for one in more)])


def tolerance(below: object, above: object) -> str:
    """Allowed distance either way, both given as magnitudes, the lower first. Empty without any."""
    given = [(MINUS, below), ("+", above)]
    return " / ".join(sign + number(v) for sign, v in given if v is not None and v != "")


def zone_of(zone: str | tzinfo | None) -> tzinfo:
    """A site's zone from its name (IANA) or itself; UTC where a thing belongs to no site."""
    if isinstance(zone, tzinfo):
        return zone
    return ZoneInfo(zone or "UTC")


def _zone_name(local: datetime) -> str:
    """The zone's abbreviation; zones that have none are named by their distance from UTC."""
    name = local.tzname() or ""
    if name[:1] not in "+-":
        return name
    hours, minutes = name[1:3].lstrip("0") or "0", name[3:5].strip("0")
    sign = MINUS if name[0] == "-" else "+"
    return f"UTC{sign}{hours}" + (f":{name[3:5]}" if minutes else "")


def moment(
    when: datetime, zone: str | tzinfo | None, *, seconds: bool = False, bare: bool = False
) -> str:
    """Local date and time with the zone's abbreviation: 1 Aug 2026, 14:00 CEST.

    Where the zone is said elsewhere, `bare` leaves it out, unless clocks went back: then the same
    hour comes twice, and only the abbreviation tells them apart.
    """
    local = when.astimezone(zone_of(zone))
    words = dateformat.format(local, f"j M Y, {'H:i:s' if seconds else 'H:i'}")
    twice = local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()
    return words if bare and not twice else f"{words} {_zone_name(local)}"


def day(value: date | datetime, zone: str | tzinfo | None = None) -> str:
    """The date alone, local to the zone where a moment is given: 1 Aug 2026."""
    local = value.astimezone(zone_of(zone)) if isinstance(value, datetime) else value
    return dateformat.format(local, "j M Y")


def age(when: datetime, at: datetime | None = None) -> str:
    """Time gone by in its largest whole unit ("3 days"); "in 3 days" where it lies ahead."""
    at = at or now()
    if abs(when - at) < timedelta(minutes=1):
        return "just now" if when <= at else "in a moment"
    if when > at:
        return f"in {timeuntil(when, at, depth=1)}"
    return timesince(when, at, depth=1)


def short_digest(digest: str) -> str:
    """The first twelve hexadecimal digits in groups of four: enough to compare by eye."""
    head = digest[:12]
    return THIN.join(head[i : i + 4] for i in range(0, len(head), 4))
