"""Charts as SVG made on the server: no script, a sentence for who can't see, numbers in a table.

Only the pixels are floats: what a page prints beside a chart comes from the exact values.
"""

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

HEIGHT = 170


@dataclass(frozen=True, slots=True)
class Curve:
    """One named line through points; ``dots`` marks each of them."""

    name: str
    xs: tuple[float, ...]
    ys: tuple[float, ...]
    dots: bool = False
    joined: bool = True


@dataclass(frozen=True, slots=True)
class Band:
    """The area between two lines, such as where a further point would lie."""

    xs: tuple[float, ...]
    lows: tuple[float, ...]
    highs: tuple[float, ...]


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
class Drawing:
    """The picture as a data address, and the sentence that says what is in it."""

    source: str
    text: str


def drawing(panels: Sequence[Panel | Bars], text: str) -> Drawing:
    """Draw the panels one below the other, or find what was drawn for the same numbers."""
    svg = _drawn(tuple(panels))
    return Drawing("data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode(), text)


@lru_cache(maxsize=256)
def _drawn(panels: tuple[Panel | Bars, ...]) -> str:
    from people.web.drawing_marks import svg_of  # noqa: PLC0415 - loads what draws, at first use

    return svg_of(panels)
