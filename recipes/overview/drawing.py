"""A lane for the versions and one for each site: spans with their value, permits told apart."""

import base64
import calendar
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

import altair as alt
import vl_convert as vlc

from audit.reading.axes import Marks, time_marks
from recipes.overview.spans import OverTime
from recipes.overview.yearly import MONTHS, Year
from web.charts import FONT, GRID, INK, SHEET, SOFT, Bars, Drawing, drawing
from web.printing import number, unit_label

# Spans in lanes as SVG. Altair is untyped, hence Any.

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


LANES = 40  # sites that are drawn; the table has all
NAMED = 0.16  # of the whole width: a span as long has room for its words
VERSIONS = "Versions"


def over_time_drawing(found: OverTime) -> Drawing:
    """The picture, drawn anew: it moves with the clock."""

    first = min([one.since for one in found.said] + [one.since for one in found.held])
    spans = [*_versions(found), *_sites(found)]
    room = (found.now - first).total_seconds() * NAMED
    for span in spans:
        span["words"] = span["value"] if _seconds(span) >= room else ""
    lanes = [VERSIONS, *found.sites[:LANES]]
    svg = svg_of(spans, lanes, time_marks(first, found.now), (first, found.now))
    return Drawing("data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode(),
                   _told(found))  # fmt: skip


def value_words(found: OverTime, value: object) -> str:
    """The value with its unit, as print has it."""
    if value is None:
        return "not set"
    words = number(value)
    return f"{words} {unit_label(found.parameter.unit)}".rstrip()


def _versions(found: OverTime) -> Iterator[dict[str, Any]]:
    ends = [one.since for one in found.said[1:]] + [found.now]
    for said, until in zip(found.said, ends, strict=True):
        words = f"v{said.version.number}: {value_words(found, said.value)}"
        yield {"lane": VERSIONS, "since": said.since, "until": until, "value": words,
               "kind": "approved"}  # fmt: skip


def _sites(found: OverTime) -> Iterator[dict[str, Any]]:
    drawn = set(found.sites[:LANES])
    for held in found.held:
        if held.site in drawn:
            kind = "on permit" if held.on_permit else "in force"
            yield {"lane": held.site, "since": held.since, "until": held.until or found.now,
                   "value": value_words(found, held.value), "kind": kind}  # fmt: skip


def _seconds(span: Mapping[str, Any]) -> float:
    since: datetime = span["since"]
    until: datetime = span["until"]
    return (until - since).total_seconds()


def _told(found: OverTime) -> str:
    said: Sequence[str] = [value_words(found, one.value) for one in found.said]
    permits = {one.basis_id for one in found.held if one.on_permit}
    many = len(found.sites)
    words = (
        f"{found.parameter.label} in {len(said)} version{'' if len(said) == 1 else 's'}, "
        f"from {said[0]} to {said[-1]}; held at {many} site{'' if many == 1 else 's'}"
    )
    return f"{words}, {len(permits)} permit{'' if len(permits) == 1 else 's'}. Times in UTC."


# The year as bars, one a month: acts, and refusals above them.


def year_drawing(year: Year) -> Drawing:
    """Bars by month; every number is in the table beside it."""
    names = tuple(calendar.month_abbr[month] for month in MONTHS)
    kinds = (("acts", _floats(year.acts.months)), ("refused", _floats(year.refusals.months)))
    return drawing([Bars("acts", names, kinds, counted=True)], _words(year))


def _floats(months: tuple[int, ...]) -> tuple[float, ...]:
    return tuple(float(times) for times in months)


def _words(year: Year) -> str:
    acts = year.acts
    most = max(acts.months)
    month = calendar.month_name[acts.months.index(most) + 1]
    return (
        f"{acts.total} acts and {year.refusals.total} refusals in {year.year}; "
        f"most acts in {month}, {most}."
    )
