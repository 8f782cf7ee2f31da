"""Reading numbers as people and programs type them: exact, plain, and refused with a sentence.

People write decimals with a point or a comma, programs with a point. A comma is never guessed at:
"1,234" is a thousand to one reader and a bit more than one to the next, and a wrong guess would end
up in a machine. Where both readings are allowed, the writer is asked.
"""

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from web import units
from web.printing import unit_label

MAX_CHARACTERS = 40
PLAIN = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
SCIENTIFIC = re.compile(r"[+-]?[0-9]*\.?[0-9]+[eE][+-]?[0-9]+")
ONE_COMMA = re.compile(r"[+-]?(?:[0-9]+,[0-9]*|,[0-9]+)")
THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
COMMA = re.compile(r"[+-]?[0-9]+(?:,[0-9]+)+(?:\.[0-9]*)?|[+-]?[0-9.]+,[0-9]+")
NOT_FINITE = re.compile(r"[+-]?(?:s?nan[0-9]*|inf(?:inity)?|∞)", re.IGNORECASE)
MINUS_SIGN = "−"  # noqa: RUF001 - U+2212, which our own pages print


class BadNumber(ValueError):  # noqa: N818 - named for what it is, as the pages name it
    """A number that cannot be taken; its text is the sentence to show."""


@dataclass(frozen=True)
class Bounds:
    """What a number may be: limits included, digits after the point, unit as a UCUM code."""

    low: Decimal | None = None
    high: Decimal | None = None
    places: int = 6
    digits: int = 12
    unit: str = ""

    def words(self) -> str:
        """The bounds as a sentence's end: 'a number from 5 to 30 g, at most 1 decimal place'."""
        printed = unit_label(self.unit)
        unit = f" {printed}" if printed else ""
        reach = {
            (True, True): f"from {self.low} to {self.high}{unit}",
            (True, False): f"of at least {self.low}{unit}",
            (False, True): f"of at most {self.high}{unit}",
            (False, False): f"in {printed}" if printed else "",
        }[self.low is not None, self.high is not None]
        some = "place" if self.places == 1 else "places"
        places = f"at most {self.places} decimal {some}" if self.places else "no decimal places"
        if units.bare(self.unit) in {units.FAHRENHEIT, units.OUNCE}:
            return f"a number {reach}"  # as many as are needed: it is converted
        return f"{f'a number {reach}'.strip()}, {places}"


def read_number(typed: object, bounds: Bounds | None = None) -> Decimal:
    """The exact decimal that was typed. Raises BadNumber with a sentence to show."""
    limits = bounds or Bounds()
    text = str(typed).strip().replace(MINUS_SIGN, "-")
    shown = repr_short(str(typed))
    if len(text) > MAX_CHARACTERS:
        raise BadNumber(f"{shown} is too long: give {limits.words()}.")
    if not PLAIN.fullmatch(text):
        raise BadNumber(_why_not_plain(text, shown, limits))
    number = Decimal(text)
    _check(number, shown, limits)
    return number


def read_typed(typed: object, bounds: Bounds | None = None) -> Decimal:
    """As read_number for what a person typed: the decimals may be behind a comma.

    Raises BadNumber also where the comma could part thousands and both numbers are allowed.
    """
    text = str(typed).strip()
    if not ONE_COMMA.fullmatch(text.replace(MINUS_SIGN, "-")):
        return read_number(typed, bounds)
    whole, point = text.replace(",", ""), text.replace(",", ".")
    if THOUSANDS.fullmatch(text.replace(MINUS_SIGN, "-")) and _allowed(whole, bounds):
        shown = repr_short(text)
        if _allowed(point, bounds):
            raise BadNumber(f"{shown} can be read in two ways: write {point} or {whole}.")
        raise BadNumber(f"{shown} has a comma: write {whole} without one.")
    return read_number(point, bounds)


# Figures of temperature and mass, typed in either of their units.

SYMBOLS = {"c": units.CELSIUS, "f": units.FAHRENHEIT, "g": units.GRAM, "oz": units.OUNCE}
WITH_UNIT = re.compile(r"(.*?)\s*(?:[°º]\s*)?(c|f|g|oz)\.?", re.IGNORECASE | re.DOTALL)


@dataclass(frozen=True, slots=True)
class Entered:
    """A figure as it was typed, its unit (a code of web.units), and what is stored of it."""

    value: Decimal
    unit: str
    stored: Decimal

    @property
    def is_converted(self) -> bool:
        """Whether it was typed in another unit than it is stored in."""
        return units.bare(self.unit) in {units.FAHRENHEIT, units.OUNCE}


def read_entered(typed: object, bounds: Bounds) -> Entered:
    """What a person typed: a number, and the unit of bounds in which they read, or one they wrote.

    “200 F” where °C are stored is 200 °F. Raises BadNumber with the bounds in the typed unit.
    """
    text, unit = str(typed).strip(), units.chosen().typed_in(bounds.unit)
    if units.other(bounds.unit) and (written := WITH_UNIT.fullmatch(text)):
        named = SYMBOLS[written[2].lower()]
        named = units.step_of(named) if units.is_step(bounds.unit) else named
        if named not in {bounds.unit, units.other(bounds.unit)}:
            right = unit_label(bounds.unit)
            raise BadNumber(f"{repr_short(text)} is in another kind of unit: give it in {right}.")
        text, unit = written[1], named
    if unit == bounds.unit:
        value = read_typed(text, bounds)
        return Entered(value, unit, value)
    value = read_typed(text, bounds_in(unit, bounds))
    return Entered(value, unit, units.stored(value, unit))


def bounds_in(unit: str, bounds: Bounds) -> Bounds:
    """The same bounds in the other unit."""
    low, high = (
        None if end is None else units.shown(end, unit) for end in (bounds.low, bounds.high)
    )
    return Bounds(low, high, places=units.TYPED + units.KEPT, digits=18, unit=unit)


def _allowed(text: str, bounds: Bounds | None) -> bool:
    try:
        read_number(text, bounds)
    except BadNumber:
        return False
    return True


def repr_short(text: str) -> str:
    """A value as it is quoted back: in quotes, control characters shown, cut where it is long."""
    printable = "".join(c if c.isprintable() else "�" for c in text)
    return f"“{printable[:MAX_CHARACTERS]}…”" if len(text) > MAX_CHARACTERS else f"“{printable}”"


def _why_not_plain(text: str, shown: str, limits: Bounds) -> str:
    if NOT_FINITE.fullmatch(text):
        return f"{shown} is no quantity: give {limits.words()}."
    if COMMA.fullmatch(text):
        return f"{shown} has a comma: write decimals with a point, such as 18.5."
    if SCIENTIFIC.fullmatch(text):
        return f"{shown} has an exponent: write the number out, such as 0.5."
    return f"{shown} is not a plain number: give {limits.words()}, without its unit."


def _check(number: Decimal, shown: str, limits: Bounds) -> None:
    exponent = number.as_tuple().exponent
    places = -exponent if isinstance(exponent, int) and exponent < 0 else 0
    too_low = limits.low is not None and number < limits.low
    too_high = limits.high is not None and number > limits.high
    too_fine = places > limits.places and not units.from_other(number, limits.unit)
    too_big = bool(number) and number.adjusted() + 1 > limits.digits - limits.places
    if too_low or too_high or too_fine or too_big:
        raise BadNumber(f"{shown} is not allowed: give {limits.words()}.")


# From a computed float to the decimal a page prints, rounded half-up once.


def rounded(value: float, places: int) -> Decimal:
    """``value`` to so many decimal places; a float's shortest digits stand for it."""
    number = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)
    return number + 0  # never minus zero
