"""The year as bars, one a month: acts, and refusals above them."""

import calendar

from people.web.drawing import Bars, Drawing, drawing
from recipes.yearly.counts import MONTHS, Year


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
