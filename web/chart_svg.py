"""Charts as SVG made on the server, without a script: the only module that knows Altair.

Colours are the page's own CSS variables, so that a chart is dark on a dark page and black on
paper; kinds differ by dash or thickness as well. Altair is untyped, hence Any.
"""

import hashlib
import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from functools import lru_cache
from typing import Any

import altair as alt
import vl_convert as vlc
from altair.utils.schemapi import disable_debug_mode
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from web.axes import MOST, number_marks, time_marks
from web.charts import Band, Bars, Curve, Lanes, Level, Panel, Part, Span, Steps

WIDTH = 324  # CSS pixels: with its axis as wide as a phone's page; wider columns enlarge it
NAMES = 110  # of it, what the names beside lanes and lying bars take
LEVELS = 76  # and what the names of levels take, beside the plot so that no line runs through them
PADDING = {"left": 14, "right": 14, "top": 5, "bottom": 5}  # browsers' letters may be wider
LANE, THICK, THIN = 34, 18, 8  # a lane's height, and that of the spans in it
ROOMY = 0.16  # of the whole width: a span as long has room for its words
INK, SOFT, SHEET, RULE = "var(--ink)", "var(--ink-soft)", "var(--sheet)", "var(--rule)"
COLOURS = ("var(--chart-1)", "var(--chart-2)", "var(--chart-3)", "var(--chart-4)")
PALE, ON_PALE, ALARM = "var(--chart-pale)", "var(--on-chart-pale)", "var(--alarm)"
DASHES: tuple[list[int], ...] = ([1, 0], [6, 3], [2, 2], [8, 3, 2, 3])
FONT = "Noto Sans, Helvetica, Arial, sans-serif"
# For readers of the screen the sentence stands for the whole picture.
INNER = re.compile(r' (?:role|aria-[a-z]+)="[^"]*"')
# Every piece held against Altair's schema would be half of what a drawing takes: a test does that.
disable_debug_mode()


@lru_cache(maxsize=256)
def svg_of(parts: tuple[Part, ...], text: str) -> SafeString:
    """The parts one below the other, as an svg element that may stand in a page."""
    spec = sheet_of(parts).to_dict(validate=False)
    return _for_page(str(vlc.vegalite_to_svg(spec, vl_version="v6.1")), text)


def sheet_of(parts: Sequence[Part]) -> Any:  # noqa: ANN401
    """The parts one below the other, as Altair describes them."""
    sheet: Any = alt.vconcat(*(_part(part) for part in parts))
    sheet = sheet.configure(background=SHEET, font=FONT, padding=PADDING)
    sheet = sheet.resolve_scale(shape="independent", color="independent", strokeDash="independent")
    sheet = sheet.configure_axis(
        labelColor=SOFT, titleColor=INK, gridColor=RULE, domainColor=SOFT, tickColor=SOFT,
        labelFontSize=13, titleFontSize=13, titleFontWeight="normal", labelLimit=NAMES,
        labelSeparation=8, tickCount=MOST,
    )  # fmt: skip
    sheet = sheet.configure_view(stroke=RULE)
    return sheet.configure_legend(labelColor=INK, labelFontSize=13, orient="top", title=None)


def _for_page(svg: str, text: str) -> SafeString:
    """Named by its sentence, and with ids that no other chart of the page has."""
    mark = hashlib.sha256(svg.encode()).hexdigest()[:8]
    svg = INNER.sub("", svg)
    svg = re.sub(r'( id="|url\(#)', rf"\g<1>c{mark}-", svg)
    named = svg.replace("<svg ", f'<svg role="img" aria-label="{escape(text)}" ', 1)
    return mark_safe(named)  # noqa: S308 - Vega escapes the words it draws, and we the sentence


def _part(part: Part) -> Any:  # noqa: ANN401
    match part:
        case Panel():
            return _panel(part)
        case Bars():
            return _bars(part)
        case Steps():
            return _steps(part)
        case Lanes():
            return _lanes(part)


def _chart(rows: Sequence[Mapping[str, object]]) -> Any:  # noqa: ANN401
    return alt.Chart(alt.Data(values=rows))  # type: ignore[no-untyped-call]


# Panels: curves with bands, levels and points that stand out


def _panel(panel: Panel) -> Any:  # noqa: ANN401
    layers = [_band(band) for band in panel.bands]
    layers += [_curve(panel, curve) for curve in panel.curves]
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
    drawn = chart.mark_area(color=COLOURS[band.tone], opacity=0.2)
    return drawn.encode(x="x:Q", y="low:Q", y2="high:Q")


def _curve(panel: Panel, curve: Curve) -> Any:  # noqa: ANN401
    points = zip(curve.xs, curve.ys, strict=True)
    rows = [{"x": float(x), "y": float(y), "name": curve.name} for x, y in points]
    axis = alt.Axis() if panel.named else alt.Axis(labels=False, ticks=False, grid=False)
    across = alt.Axis(tickMinStep=1) if panel.counted else alt.Axis()
    names = [each.name for each in panel.curves]
    chart = _chart(rows).encode(
        x=alt.X("x:Q", title=panel.across, axis=across, scale=alt.Scale(zero=False, nice=False)),
        y=alt.Y("y:Q", title=panel.title, axis=axis, scale=alt.Scale(zero=panel.from_zero)),
        **(_told_apart(names) if len(names) > 1 else {"color": alt.value(COLOURS[0])}),
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


# Bars


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


# Time: a value written now and then, and spans in lanes


def _steps(steps: Steps) -> Any:  # noqa: ANN401
    holding, loose = steps.names
    rows = [_step(at, value, holding) for at, value in steps.points]
    rows += [_step(at, value, loose) for at, value in steps.loose]
    every = [*steps.points, *steps.loose]
    times, values = [at for at, _ in every], [value for _, value in every]
    when = time_marks(min(times), max(times))
    much = number_marks(min(values), max(values))
    chart = _chart(rows).encode(
        x=alt.X(
            "at:T", title=None, scale=alt.Scale(type="utc"),
            axis=alt.Axis(values=list(when.places), format=when.format, labelOverlap=True),
        ),
        y=alt.Y(
            "value:Q", title=steps.title, scale=alt.Scale(zero=False, domain=much.ends),
            axis=alt.Axis(values=list(much.places), format=much.format),
        ),
    )  # fmt: skip
    line = chart.mark_line(interpolate="step-after", color=COLOURS[0])
    line = line.transform_filter(alt.datum.kind == holding)
    if not steps.loose:
        dots = chart.mark_point(color=COLOURS[0], filled=True)
        return (line + dots).properties(width=WIDTH, height=steps.height)
    # By shape as well as by colour: not everybody sees the colours.
    names = list(steps.names)
    colours = alt.Scale(domain=names, range=list(COLOURS[:2]))
    shapes = alt.Scale(domain=names, range=["circle", "diamond"])
    marks = chart.mark_point(size=60, opacity=1).encode(
        color=alt.Color("kind:N", scale=colours, title=None),
        shape=alt.Shape("kind:N", scale=shapes, title=None),
    )
    return (line + marks).properties(width=WIDTH, height=steps.height)


def _step(at: datetime, value: Decimal, kind: str) -> dict[str, object]:
    return {"at": at.isoformat(), "value": float(value), "kind": kind}


def _lanes(lanes: Lanes) -> Any:  # noqa: ANN401
    room = (lanes.until - lanes.since) * ROOMY
    marks = time_marks(lanes.since, lanes.until)
    ends = [at.timestamp() * 1000 for at in (lanes.since, lanes.until)]
    axis = alt.Axis(values=list(marks.places), format=marks.format, labelOverlap=True)
    base = _chart([_span(span, span.until - span.since >= room) for span in lanes.spans]).encode(
        x=alt.X("since:T", title=None, scale=alt.Scale(type="utc", domain=ends), axis=axis),
        y=alt.Y("lane:N", title=None, sort=list(lanes.lanes)),
    )
    layers = [layer for at in range(len(lanes.kinds)) for layer in _kind(base, lanes.kinds, at)]
    return alt.layer(*layers).properties(width=WIDTH - NAMES, height=LANE * len(lanes.lanes))


def _span(span: Span, roomy: bool) -> dict[str, object]:
    return {
        "lane": span.lane, "kind": span.kind, "words": span.words if roomy else "",
        "since": span.since.isoformat(), "until": span.until.isoformat(),
    }  # fmt: skip


def _kind(base: Any, kinds: Sequence[str], at: int) -> list[Any]:  # noqa: ANN401
    """Spans of one kind; the last is thinner as well as of another colour, and lies above."""
    colours = alt.Scale(domain=list(kinds), range=[COLOURS[0], PALE, COLOURS[1]])
    mine = base.transform_filter(alt.datum.kind == kinds[at])
    thin = at == len(kinds) - 1
    bar = mine.mark_bar(size=THIN if thin else THICK, stroke=SHEET, yOffset=-13 if thin else 0)
    bar = bar.encode(x2="until:T", color=alt.Color("kind:N", scale=colours, title=None))
    if thin:
        return [bar]
    words = mine.mark_text(align="left", dx=4, fontSize=12, color=ON_PALE if at else SHEET)
    return [bar, words.encode(text="words:N")]
