"""Degrees Fahrenheit and ounces beside °C and g: exact there, and the same digits back.

Stored is always °C and g. A figure typed in the other unit is converted by what the units are
(°F = 9/5 °C + 32; the international avoirdupois ounce is 28.349523125 g), both exact. Ounces are
finite in grams and kept to their last digit. Most degrees Fahrenheit are not finite in °C: those
are kept to six places, more than anybody types in °C, and read back as what was typed.

A temperature's difference, such as a tolerance or an offset, has the same step and no 32. UCUM
leaves no code for it but K, so that it is annotated here.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from functools import lru_cache

CELSIUS, FAHRENHEIT = "Cel", "[degF]"
GRAM, OUNCE = "g", "[oz_av]"
STEP = "{difference}"  # annotation of a code: a difference of two temperatures
OUNCE_GRAMS = Decimal("28.349523125")  # by definition: 0.45359237 kg / 16
TYPED = 4  # decimal places of °F and oz that are taken to their last digit
KEPT = 6  # decimal places of a °C that °F do not end in
READ = {FAHRENHEIT: 2, OUNCE: 3}  # decimal places shown where more would only be digits
MANY = Context(prec=60)


def is_step(code: str) -> bool:
    """Whether a code is annotated as a difference."""
    return code.endswith(STEP)


def bare(code: str) -> str:
    """A code without that annotation."""
    return code.removesuffix(STEP)


def step_of(code: str) -> str:
    """The code for differences of what `code` measures; a mass's is its own."""
    return f"{code}{STEP}" if code in {CELSIUS, FAHRENHEIT} else code


def other(code: str) -> str:
    """The other unit of a temperature or mass, annotated alike; empty where there is none."""
    pairs = {CELSIUS: FAHRENHEIT, FAHRENHEIT: CELSIUS, GRAM: OUNCE, OUNCE: GRAM}
    found = pairs.get(bare(code), "")
    return f"{found}{STEP}" if found and is_step(code) else found


@dataclass(frozen=True, slots=True)
class Choice:
    """The units a person reads and types in, as UCUM codes; `beside` those of the product."""

    temperature: str = CELSIUS
    mass: str = GRAM
    temperature_beside: bool = False
    mass_beside: bool = False

    def other_for(self, code: str) -> str:
        """The other unit, if this person reads it: instead of the stored one, or beside it."""
        if bare(code) == CELSIUS:
            return other(code) if self.temperature == FAHRENHEIT else ""
        return other(code) if code == GRAM and self.mass == OUNCE else ""

    def beside(self, code: str) -> bool:
        """Whether the stored unit is shown too, and typed in unless another is written."""
        return self.temperature_beside if bare(code) == CELSIUS else self.mass_beside

    def typed_in(self, code: str) -> str:
        """The unit of a number typed without one."""
        found = self.other_for(code)
        return found if found and not self.beside(code) else code


METRIC = Choice()


# From what was typed to what is stored.


def stored(value: Decimal, unit: str) -> Decimal:
    """A value in °F or oz as it is stored, in °C or g; values in °C and g as they are."""
    if bare(unit) == FAHRENHEIT:
        return _celsius(value, step=is_step(unit))
    return _grams(value) if unit == OUNCE else value


def places_of(value: Decimal) -> int:
    """Digits after the point, trailing zeros too."""
    exponent = value.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _celsius(value: Decimal, *, step: bool) -> Decimal:
    exact = (Fraction(value) - (0 if step else 32)) * Fraction(5, 9)
    places = places_of(value)
    if (exact * 10**places).denominator == 1:
        return _decimal(exact, places)
    return _decimal(exact, max(KEPT, places + KEPT - TYPED))


def _grams(value: Decimal) -> Decimal:
    """To the last digit; beyond four places, the shortest number of grams that reads as this."""
    exact = MANY.multiply(value, OUNCE_GRAMS)
    places = places_of(value)
    if places <= TYPED:
        return _short(exact)
    half = MANY.multiply(Decimal(5).scaleb(-places - 1), OUNCE_GRAMS)
    for digits in range(places + 3):
        found = exact.quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP, MANY)
        if abs(found - exact) < half:
            return found
    return _short(exact)


def _decimal(exact: Fraction, places: int) -> Decimal:
    """Rounded half away from zero to so many places."""
    scaled = abs(exact) * 10**places
    whole = (2 * scaled.numerator + scaled.denominator) // (2 * scaled.denominator)
    return Decimal(-whole if exact < 0 else whole).scaleb(-places, MANY)


def _short(value: Decimal) -> Decimal:
    """Without zeros at the end, and without an exponent."""
    return Decimal(format(value.normalize(MANY), "f"))


# From what is stored to what is shown.


@lru_cache(maxsize=2000)
def shown(value: Decimal, unit: str) -> Decimal:
    """A stored °C or g in `unit`, with the fewest digits that are stored as the same when typed.

    What somebody typed in that unit comes back as they typed it, but for zeros at the end.
    """
    if bare(unit) not in {FAHRENHEIT, OUNCE}:
        return value
    exact = _exactly(value, unit)
    for places in range(TYPED + KEPT + places_of(value)):
        found = _decimal(exact, places)
        if stored(found, unit) == value:
            return found
    raise ArithmeticError(f"{value} has no digits in {unit}")


def read(value: Decimal, unit: str) -> Decimal:
    """The same for reading only: what was typed in that unit as it was, else a bar's digits.

    °C with up to one place are exact in °F with two; grams are rounded to a thousandth of an oz.
    """
    whole = shown(value, unit)
    most = READ.get(bare(unit))
    if most is None or places_of(whole) <= (TYPED if converted(value, unit) else most):
        return whole
    return _decimal(_exactly(value, unit), most)


def converted(value: Decimal, unit: str) -> bool:
    """Whether a stored value is one that a figure in `unit` with up to four places becomes."""
    return places_of(shown(value, unit)) <= TYPED


def _exactly(value: Decimal, unit: str) -> Fraction:
    if unit == OUNCE:
        return Fraction(value) / Fraction(OUNCE_GRAMS)
    return Fraction(value) * Fraction(9, 5) + (0 if is_step(unit) else 32)


def from_other(value: Decimal, unit: str) -> bool:
    """Whether a stored value has more digits than anybody types in its unit, from converting.

    Where a number comes without a unit, grams from ounces count.
    """
    found = other(unit or GRAM)
    return bool(found) and places_of(value) >= KEPT - 1 and converted(value, found)


# Whose page it is. Only pages ask: the API, exports, tasks and what is stored stay in °C and g.

_reader: ContextVar[Callable[[], Choice] | None] = ContextVar("units", default=None)


def chosen() -> Choice:
    """The units of whoever reads this page; °C and g everywhere else."""
    ask = _reader.get()
    return ask() if ask else METRIC


@contextmanager
def read_by(ask: Callable[[], Choice]) -> Iterator[None]:
    """Pages made inside are for somebody; `ask` is only called where a figure is shown."""
    token = _reader.set(ask)
    try:
        yield
    finally:
        _reader.reset(token)


@contextmanager
def on_paper() -> Iterator[None]:
    """A sheet for a wall: whoever prints it in °F or oz has °C and g on it as well."""
    mine = chosen()
    both = replace(mine, temperature_beside=True, mass_beside=True)
    with read_by(lambda: both):
        yield
