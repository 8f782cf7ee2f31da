"""A parameter over time and a year's acts, as charts."""

import calendar
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from recipes.overview.spans import OverTime
from recipes.overview.yearly import MONTHS, Year
from web.charts import Bars, Drawing, Lanes, Span, drawing
from web.printing import SPACE, counted, quantity

KINDS = ("approved", "in force", "on permit")
QUARTER = timedelta(minutes=15)
LANES = 40  # sites that are drawn; the table has all
VERSIONS = "Versions"


def over_time_drawing(history: OverTime) -> Drawing:
    """A lane for the versions and one for each site: spans with their value, permits apart."""
    first = min([one.since for one in history.versions] + [one.since for one in history.slots])
    # A history of seconds has no room for the moments at both ends.
    until = drawn_until(max(history.now, first + QUARTER))
    lanes = (VERSIONS, *history.sites[:LANES])
    spans = (*_versions(history, until), *_sites(history, until))
    return drawing([Lanes(lanes, KINDS, spans, first, until)], _over_time_text(history))


def drawn_until(now: datetime) -> datetime:
    """The next quarter of an hour: whoever looks within it is shown what was drawn already."""
    return now + QUARTER - (now - datetime.min.replace(tzinfo=now.tzinfo)) % QUARTER


def value_words(history: OverTime, value: object) -> str:
    """The value with its unit, as print has it."""
    if value is None:
        return "not set"
    return quantity(value, history.parameter.unit).replace(SPACE, " ")


def _versions(history: OverTime, now: datetime) -> Iterator[Span]:
    ends = [one.since for one in history.versions[1:]] + [now]
    for stated, until in zip(history.versions, ends, strict=True):
        words = f"v{stated.version.number}: {value_words(history, stated.value)}"
        yield Span(VERSIONS, "approved", stated.since, until, words)


def _sites(history: OverTime, now: datetime) -> Iterator[Span]:
    drawn = set(history.sites[:LANES])
    for span in history.slots:
        if span.site in drawn:
            kind = "on permit" if span.on_permit else "in force"
            words = value_words(history, span.value)
            yield Span(span.site, kind, span.since, span.until or now, words)


def _over_time_text(history: OverTime) -> str:
    values: Sequence[str] = [value_words(history, one.value) for one in history.versions]
    permits = {one.basis_id for one in history.slots if one.on_permit}
    many = len(history.sites)
    words = (
        f"{history.parameter.label} in {counted(len(values), 'version')}, "
        f"from {values[0]} to {values[-1]}; held at {counted(many, 'site')}"
    )
    return f"{words}, {counted(len(permits), 'permit')}. Times in UTC."


def year_drawing(year: Year) -> Drawing:
    """A bar a month: acts, and refusals above them. Every number is in the table beside it."""
    names = tuple(calendar.month_abbr[month] for month in MONTHS)
    kinds = (("acts", _floats(year.acts.months)), ("refused", _floats(year.refusals.months)))
    return drawing([Bars("acts", names, kinds, counted=True)], _year_text(year))


def _floats(months: tuple[int, ...]) -> tuple[float, ...]:
    return tuple(float(times) for times in months)


def _year_text(year: Year) -> str:
    acts = year.acts
    most = max(acts.months)
    month = calendar.month_name[acts.months.index(most) + 1]
    return (
        f"{acts.total} acts and {year.refusals.total} refusals in {year.year}; "
        f"most acts in {month}, {most}."
    )
