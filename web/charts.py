"""What a chart is made of, as plain data; web.chart_svg draws it where a page shows it.

A chart is one picture with a sentence that says what is in it, for who can't see it. The floats
are pixels to be: what a page prints beside a chart comes from the exact values.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.utils.safestring import SafeString

from web import units
from web.printing import unit_label


@dataclass(frozen=True, slots=True)
class Measure:
    """How an axis is drawn for whoever reads: its printed unit, and stored values in it."""

    unit: str
    factor: float = 1.0
    zero: float = 0.0

    def at(self, value: float) -> float:
        """A stored value, as a place on the axis."""
        return value * self.factor + self.zero

    def step(self, value: float) -> float:
        """A distance between two."""
        return value * self.factor


def measure_of(code: str) -> Measure:
    """The axis for stored values in `code`. Who reads both units is told what the other one is."""
    choice = units.chosen()
    found, here = choice.other_for(code), unit_label(code)
    if not found:
        return Measure(here)
    if choice.beside(code):
        one = "°F = 1.8 °C + 32" if units.bare(code) == units.CELSIUS else "1 oz = 28.35 g"
        return Measure(f"{here} ({one})")
    if found == units.OUNCE:
        return Measure(unit_label(found), 1.0 / float(units.OUNCE_GRAMS))
    return Measure(unit_label(found), 1.8, 0.0 if units.is_step(code) else 32.0)


HEIGHT = 170  # CSS pixels of a panel


@dataclass(frozen=True, slots=True)
class Curve:
    """One named line through points; ``dots`` marks each, ``joined`` False leaves the line out."""

    name: str
    xs: tuple[float, ...]
    ys: tuple[float, ...]
    dots: bool = False
    joined: bool = True


@dataclass(frozen=True, slots=True)
class Band:
    """The area between two lines, such as where a further point would lie.

    ``tone``: of which of the panel's curves it has the colour, from 0.
    """

    xs: tuple[float, ...]
    lows: tuple[float, ...]
    highs: tuple[float, ...]
    tone: int = 0


@dataclass(frozen=True, slots=True)
class Level:
    """A named horizontal line, such as a control limit; ``upright`` makes it a vertical one."""

    value: float
    name: str
    upright: bool = False


@dataclass(frozen=True, slots=True)
class Panel:
    """Curves over one axis, with bands, levels and points that stand out."""

    title: str
    across: str
    curves: tuple[Curve, ...]
    levels: tuple[Level, ...] = ()
    marked: tuple[tuple[float, float], ...] = ()
    from_zero: bool = False
    named: bool = True  # the vertical axis carries numbers
    counted: bool = False  # the horizontal axis counts, so that only whole numbers stand there
    height: int = HEIGHT
    bands: tuple[Band, ...] = ()


@dataclass(frozen=True, slots=True)
class Bars:
    """A bar for each name, upright or lying; bars of several kinds stand on one another."""

    title: str
    names: tuple[str, ...]
    kinds: tuple[tuple[str, tuple[float, ...]], ...]
    lying: bool = False
    counted: bool = False  # the values are whole numbers
    height: int = HEIGHT


@dataclass(frozen=True, slots=True)
class Steps:
    """A value over time: each holds until the next one is written. At least one point, by time.

    `loose` values hold nowhere, such as those of drafts: marks of their own beside the line, told
    apart in a legend by the two `names`.
    """

    title: str
    points: tuple[tuple[datetime, Decimal], ...]
    height: int = HEIGHT
    loose: tuple[tuple[datetime, Decimal], ...] = ()
    names: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time in a lane; ``words`` stand in it where there is room."""

    lane: str
    kind: str
    since: datetime
    until: datetime
    words: str


@dataclass(frozen=True, slots=True)
class Lanes:
    """Spans of time in lanes one below the other, in the order given.

    Spans of the last of ``kinds`` lie thin above the others, as an exception lies over a rule.
    """

    lanes: tuple[str, ...]
    kinds: tuple[str, str, str]
    spans: tuple[Span, ...]
    since: datetime
    until: datetime


Part = Panel | Bars | Steps | Lanes


@dataclass(frozen=True, slots=True)
class Drawing:
    """Parts one below the other, and the sentence that says what is in them."""

    parts: tuple[Part, ...]
    text: str

    @property
    def svg(self) -> SafeString:
        """The picture as SVG for a page, drawn now or found among those drawn before."""
        # Imported here: what is plain data needs no request.
        from web.drawings import drawn  # noqa: PLC0415

        return drawn(self)


def drawing(parts: Sequence[Part], text: str) -> Drawing:
    """The parts, one below the other, with their sentence."""
    return Drawing(tuple(parts), text)
