"""The year as bars, one a month: acts, and refusals above them."""

import calendar
from typing import Any

from recipes.yearly.counts import MONTHS, Year
from stations.drawing import ACCENT, ALARM, Picture, svg_source

WIDTH, HEIGHT = 560, 200


def year_picture(year: Year) -> Picture:
    """Bars by month; every number is in the table beside it."""
    import altair as alt  # noqa: PLC0415 - takes a second to load, and few pages draw

    kinds = {"acts": year.acts.months, "refused": year.refusals.months}
    rows = [
        {"month": calendar.month_abbr[month], "kind": kind, "times": months[month - 1]}
        for kind, months in kinds.items()
        for month in MONTHS
    ]
    order = [calendar.month_abbr[month] for month in MONTHS]
    colours = alt.Scale(domain=list(kinds), range=[ACCENT, ALARM])
    sheet = _chart(alt, rows).mark_bar().encode(
        x=alt.X("month:N", sort=order, title=None),
        y=alt.Y("times:Q", title="Acts", axis=alt.Axis(tickMinStep=1, format="d")),
        color=alt.Color("kind:N", scale=colours, title=None),
    )  # fmt: skip
    return Picture(svg_source(sheet.properties(width=WIDTH, height=HEIGHT)), _words(year))


def _chart(alt: Any, rows: object) -> Any:  # noqa: ANN401 - altair is untyped
    return alt.Chart(alt.Data(values=rows))


def _words(year: Year) -> str:
    acts = year.acts
    most = max(acts.months)
    month = calendar.month_name[acts.months.index(most) + 1]
    return (
        f"{acts.total} acts and {year.refusals.total} refusals in {year.year}; "
        f"most acts in {month}, {most}."
    )
