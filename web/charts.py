"""Charts as SVG made on the server: no script, a sentence for who can't see, numbers in a table.

Only the pixels are floats: what a page prints beside a chart comes from the exact values.
"""

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import altair as alt
import vl_convert as vlc

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

    return svg_of(panels)


# How a drawing's panels become marks, and those SVG. Altair is untyped, hence Any.

WIDTH = 440  # a phone shows it a little smaller, and still legible
NAMES = 110  # of it, what the names beside lying bars take
LEVELS = 74  # and what the names of levels take, beside the plot so that no line runs through them
INK, SOFT, SHEET, GRID = "#1d1b16", "#57524a", "#fdfbf5", "#d3cbb9"
COLOURS = ("#0c5358", "#9a4a12", "#5b3f86", "#3d5f1e")
DASHES: tuple[list[int], ...] = ([1, 0], [6, 3], [2, 2], [8, 3, 2, 3])
ALARM = "#a3260f"
FONT = "Noto Sans, Helvetica, Arial, sans-serif"


def svg_of(panels: Sequence[Panel | Bars]) -> str:
    """The panels, one below the other."""
    sheet: Any = alt.vconcat(*(_bars(p) if isinstance(p, Bars) else _panel(p) for p in panels))
    sheet = sheet.configure(background=SHEET, font=FONT).resolve_scale(
        color="independent", strokeDash="independent"
    )
    sheet = sheet.configure_axis(
        labelColor=SOFT, titleColor=INK, gridColor=GRID,
        labelFontSize=13, titleFontSize=13, titleFontWeight="normal",
    )  # fmt: skip
    sheet = sheet.configure_legend(labelColor=INK, labelFontSize=13, orient="top", title=None)
    return str(vlc.vegalite_to_svg(sheet.to_dict(), vl_version="v6.1"))


def _chart(rows: Sequence[Mapping[str, object]]) -> Any:  # noqa: ANN401
    return alt.Chart(alt.Data(values=rows))  # type: ignore[no-untyped-call]


def _panel(panel: Panel) -> Any:  # noqa: ANN401
    layers = [_band(band) for band in panel.bands]
    layers += [_curve(panel, at) for at in range(len(panel.curves))]
    layers += [layer for level in panel.levels for layer in _level(level)]
    if panel.marked:
        ring = _chart([{"x": x, "y": y} for x, y in panel.marked])
        ring = ring.mark_point(color=ALARM, size=160, strokeWidth=2)
        layers.append(ring.encode(x="x:Q", y="y:Q"))
    return alt.layer(*layers).properties(width=_width(panel), height=panel.height)


def _width(panel: Panel) -> int:
    lying = any(not level.upright for level in panel.levels)
    return WIDTH - LEVELS if lying else WIDTH


def _band(band: Band) -> Any:  # noqa: ANN401
    rows = zip(band.xs, band.lows, band.highs, strict=True)
    chart = _chart([{"x": x, "low": low, "high": high} for x, low, high in rows])
    return chart.mark_area(color=COLOURS[0], opacity=0.2).encode(x="x:Q", y="low:Q", y2="high:Q")


def _curve(panel: Panel, at: int) -> Any:  # noqa: ANN401
    curve = panel.curves[at]
    points = zip(curve.xs, curve.ys, strict=True)
    rows = [{"x": float(x), "y": float(y), "name": curve.name} for x, y in points]
    axis = alt.Axis() if panel.named else alt.Axis(labels=False, ticks=False, grid=False)
    across = alt.Axis(tickMinStep=1) if panel.counted else alt.Axis()
    several = len(panel.curves) > 1
    names = [each.name for each in panel.curves]
    chart = _chart(rows).encode(
        x=alt.X("x:Q", title=panel.across, axis=across, scale=alt.Scale(zero=False, nice=False)),
        y=alt.Y("y:Q", title=panel.title, axis=axis, scale=alt.Scale(zero=panel.from_zero)),
        **(_told_apart(names) if several else {"color": alt.value(COLOURS[0])}),
    )
    if not curve.joined:
        return chart.mark_point(filled=True, size=60, opacity=1)
    return chart.mark_line(point={"filled": True} if curve.dots else False)


def _told_apart(names: list[str]) -> dict[str, Any]:
    """By dash as well as by colour: not everybody sees the colours."""
    colours = alt.Scale(domain=names, range=list(COLOURS[: len(names)]))
    dashes = alt.Scale(domain=names, range=list(DASHES[: len(names)]))
    return {
        "color": alt.Color("name:N", scale=colours),
        "strokeDash": alt.StrokeDash("name:N", scale=dashes),
    }


def _level(level: Level) -> list[Any]:
    data = _chart([{"at": level.value, "name": level.name}])
    place = {"x": "at:Q"} if level.upright else {"y": "at:Q"}
    line = data.mark_rule(color=SOFT, strokeDash=[4, 3]).encode(**place)
    if level.upright:
        word = data.mark_text(color=SOFT, fontSize=12, align="left", dx=4)
        return [line, word.encode(**place, text="name:N", y=alt.value(8))]
    word = data.mark_text(color=SOFT, fontSize=12, align="left", baseline="middle", dx=5)
    return [line, word.encode(**place, text="name:N", x=alt.value(WIDTH - LEVELS))]


def _bars(bars: Bars) -> Any:  # noqa: ANN401
    rows = [
        {"name": name, "kind": kind, "value": value, "at": at}
        for at, (kind, values) in enumerate(bars.kinds)
        for name, value in zip(bars.names, values, strict=True)
    ]
    ticks = alt.Axis(tickMinStep=1, format="d") if bars.counted else alt.Axis()
    names = {"shorthand": "name:N", "sort": list(bars.names), "title": None}
    values = {"shorthand": "value:Q", "title": bars.title, "axis": ticks}
    kinds = [kind for kind, _ in bars.kinds]
    colours = alt.Scale(domain=kinds, range=list(COLOURS[: len(kinds)]))
    legend = alt.Legend() if len(kinds) > 1 else None
    chart = _chart(rows).mark_bar(stroke=SHEET).encode(
        x=alt.X(**(values if bars.lying else names)),
        y=alt.Y(**(names if bars.lying else values)),
        color=alt.Color("kind:N", scale=colours, legend=legend),
        order="at:O",
    )  # fmt: skip
    return chart.properties(width=WIDTH - NAMES if bars.lying else WIDTH, height=bars.height)
