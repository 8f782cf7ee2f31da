"""Charts as SVG made on the server: no script, a sentence for who can't see, numbers in a table.

Only the pixels are floats: what a page prints beside a chart comes from the exact values.
"""

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

WIDTH, HEIGHT = 440, 170  # a phone shows it a little smaller, and still legible
INK, SOFT, SHEET, GRID = "#1d1b16", "#57524a", "#fdfbf5", "#d3cbb9"
COLOURS = ("#0c5358", "#9a4a12", "#5b3f86", "#3d5f1e")
DASHES: tuple[list[int], ...] = ([1, 0], [6, 3], [2, 2], [8, 3, 2, 3])
ALARM = "#a3260f"
FONT = "Noto Sans, Helvetica, Arial, sans-serif"


@dataclass(frozen=True, slots=True)
class Curve:
    """One named line through points; ``dots`` marks each of them."""

    name: str
    xs: tuple[float, ...]
    ys: tuple[float, ...]
    dots: bool = False
    joined: bool = True


@dataclass(frozen=True, slots=True)
class Level:
    """A named horizontal line, such as a control limit; ``upright`` makes it a vertical one."""

    value: float
    name: str
    upright: bool = False


@dataclass(frozen=True, slots=True)
class Panel:
    """Curves over one axis, with levels and points that stand out."""

    title: str
    across: str
    curves: tuple[Curve, ...]
    levels: tuple[Level, ...] = ()
    marked: tuple[tuple[float, float], ...] = ()
    from_zero: bool = False
    named: bool = True  # the vertical axis carries numbers
    counted: bool = False  # the horizontal axis counts, so that only whole numbers stand there
    height: int = HEIGHT


@dataclass(frozen=True, slots=True)
class Drawing:
    """The picture as a data address, and the sentence that says what is in it."""

    source: str
    text: str


def drawing(panels: Sequence[Panel], text: str) -> Drawing:
    """Draw the panels one below the other, or find what was drawn for the same numbers."""
    svg = _drawn(tuple(panels))
    return Drawing("data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode(), text)


@lru_cache(maxsize=256)
def _drawn(panels: tuple[Panel, ...]) -> str:
    # Imported here: they take a second to load, and few pages draw.
    import altair as alt  # noqa: PLC0415
    import vl_convert as vlc  # noqa: PLC0415

    sheet = alt.vconcat(*(_panel(alt, panel) for panel in panels))
    sheet = sheet.configure(background=SHEET, font=FONT).resolve_scale(
        color="independent", strokeDash="independent"
    )
    sheet = sheet.configure_axis(labelColor=SOFT, titleColor=INK, gridColor=GRID, labelFontSize=13)
    sheet = sheet.configure_axis(titleFontSize=13, titleFontWeight="normal")
    sheet = sheet.configure_legend(labelColor=INK, labelFontSize=13, orient="top", title=None)
    return str(vlc.vegalite_to_svg(sheet.to_dict(), vl_version="v6.1"))


def _panel(alt: Any, panel: Panel) -> Any:  # noqa: ANN401  altair is untyped
    layers = [_curve(alt, panel, at) for at in range(len(panel.curves))]
    layers += [layer for level in panel.levels for layer in _level(alt, level)]
    if panel.marked:
        rows = [{"x": x, "y": y} for x, y in panel.marked]
        ring = alt.Chart(alt.Data(values=rows)).mark_point(color=ALARM, size=160, strokeWidth=2)
        layers.append(ring.encode(x="x:Q", y="y:Q"))
    return alt.layer(*layers).properties(width=WIDTH, height=panel.height)


def _curve(alt: Any, panel: Panel, at: int) -> Any:  # noqa: ANN401  altair is untyped
    curve = panel.curves[at]
    rows = [
        {"x": float(x), "y": float(y), "name": curve.name}
        for x, y in zip(curve.xs, curve.ys, strict=True)
    ]
    axis = alt.Axis() if panel.named else alt.Axis(labels=False, ticks=False, grid=False)
    across = alt.Axis(tickMinStep=1) if panel.counted else alt.Axis()
    several = len(panel.curves) > 1
    names = [each.name for each in panel.curves]
    chart = alt.Chart(alt.Data(values=rows)).encode(
        x=alt.X("x:Q", title=panel.across, axis=across, scale=alt.Scale(zero=False, nice=False)),
        y=alt.Y("y:Q", title=panel.title, axis=axis, scale=alt.Scale(zero=panel.from_zero)),
        **(_told_apart(alt, names) if several else {"color": alt.value(COLOURS[0])}),
    )
    if not curve.joined:
        return chart.mark_point(filled=True)
    return chart.mark_line(point={"filled": True} if curve.dots else False)


def _told_apart(alt: Any, names: list[str]) -> dict[str, Any]:  # noqa: ANN401  altair is untyped
    """By dash as well as by colour: not everybody sees the colours."""
    colours = alt.Scale(domain=names, range=list(COLOURS[: len(names)]))
    dashes = alt.Scale(domain=names, range=list(DASHES[: len(names)]))
    return {
        "color": alt.Color("name:N", scale=colours),
        "strokeDash": alt.StrokeDash("name:N", scale=dashes),
    }


def _level(alt: Any, level: Level) -> list[Any]:  # noqa: ANN401  altair is untyped
    data = alt.Chart(alt.Data(values=[{"at": level.value, "name": level.name}]))
    place = {"x": "at:Q"} if level.upright else {"y": "at:Q"}
    line = data.mark_rule(color=SOFT, strokeDash=[4, 3]).encode(**place)
    if level.upright:
        word = data.mark_text(color=SOFT, fontSize=12, align="left", dx=4)
        return [line, word.encode(**place, text="name:N", y=alt.value(8))]
    word = data.mark_text(color=SOFT, fontSize=12, align="right", dy=-6)
    return [line, word.encode(**place, text="name:N", x=alt.value(WIDTH))]
