"""Spans in lanes as SVG. Altair is untyped, hence Any."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import altair as alt
import vl_convert as vlc

from audit.axes import Marks
from people.web.drawing_marks import FONT, GRID, INK, SHEET, SOFT

WIDTH, LANE = 330, 34  # a phone shows it with the names beside it
KINDS = ("approved", "in force", "on permit")
COLOURS = ("#0c5358", "#5f8f92", "#9a4a12")
THICK = {"approved": 18, "in force": 18, "on permit": 8}


def svg_of(
    spans: Sequence[Mapping[str, Any]],
    lanes: Sequence[str],
    marks: Marks,
    ends: tuple[datetime, datetime],
) -> str:
    """One lane below the other, in the order given."""
    rows = [
        {**span, "since": span["since"].isoformat(), "until": span["until"].isoformat()}
        for span in spans
    ]
    across = alt.Scale(type="utc", domain=[at.timestamp() * 1000 for at in ends])
    axis = alt.Axis(values=list(marks.places), format=marks.format, labelOverlap=True)
    base: Any = alt.Chart(alt.Data(values=rows)).encode(  # type: ignore[no-untyped-call]
        x=alt.X("since:T", title=None, scale=across, axis=axis),
        y=alt.Y("lane:N", title=None, sort=list(lanes)),
    )
    layers = [layer for kind in KINDS for layer in _of(base, kind)]
    sheet: Any = alt.layer(*layers).properties(width=WIDTH, height=LANE * len(lanes))
    return str(vlc.vegalite_to_svg(_styled(sheet).to_dict(), vl_version="v6.1"))


def _of(base: Any, kind: str) -> list[Any]:  # noqa: ANN401
    """Spans of one kind: permits are thinner as well as of another colour, and lie above."""
    colour = alt.Color(
        "kind:N", scale=alt.Scale(domain=list(KINDS), range=list(COLOURS)), title=None
    )
    mine = base.transform_filter(alt.datum.kind == kind)
    offset = -13 if kind == "on permit" else 0
    bar = mine.mark_bar(size=THICK[kind], stroke=SHEET, yOffset=offset)
    layers = [bar.encode(x2="until:T", color=colour)]
    if kind != "on permit":
        text = mine.mark_text(align="left", dx=4, fontSize=12, color="#ffffff" if kind ==
                              "approved" else INK)  # fmt: skip
        layers.append(text.encode(text="words:N"))
    return layers


def _styled(sheet: Any) -> Any:  # noqa: ANN401
    sheet = sheet.configure(background=SHEET, font=FONT)
    sheet = sheet.configure_axis(
        labelColor=SOFT, titleColor=INK, gridColor=GRID, labelFontSize=13, labelLimit=110
    )
    return sheet.configure_legend(labelColor=INK, labelFontSize=13, orient="top", title=None)
