"""A parameter over time and a year's acts, as charts."""

import calendar
from collections.abc import Iterator, Sequence

from recipes.overview.spans import OverTime
from recipes.overview.yearly import MONTHS, Year
from web.charts import Bars, Drawing, Lanes, Span, drawing
from web.printing import counted, number, unit_label

KINDS = ("approved", "in force", "on permit")
LANES = 40  # sites that are drawn; the table has all
VERSIONS = "Versions"


def over_time_drawing(found: OverTime) -> Drawing:
    """A lane for the versions and one for each site: spans with their value, permits apart."""
    first = min([one.since for one in found.said] + [one.since for one in found.held])
    lanes = (VERSIONS, *found.sites[:LANES])
    spans = (*_versions(found), *_sites(found))
    return drawing([Lanes(lanes, KINDS, spans, first, found.now)], _over_time_text(found))


def value_words(found: OverTime, value: object) -> str:
    """The value with its unit, as print has it."""
    if value is None:
        return "not set"
    words = number(value)
    return f"{words} {unit_label(found.parameter.unit, words)}".rstrip()


def _versions(found: OverTime) -> Iterator[Span]:
    ends = [one.since for one in found.said[1:]] + [found.now]
    for said, until in zip(found.said, ends, strict=True):
        words = f"v{said.version.number}: {value_words(found, said.value)}"
        yield Span(VERSIONS, "approved", said.since, until, words)


def _sites(found: OverTime) -> Iterator[Span]:
    drawn = set(found.sites[:LANES])
    for held in found.held:
        if held.site in drawn:
            kind = "on permit" if held.on_permit else "in force"
            words = value_words(found, held.value)
            yield Span(held.site, kind, held.since, held.until or found.now, words)


def _over_time_text(found: OverTime) -> str:
    said: Sequence[str] = [value_words(found, one.value) for one in found.said]
    permits = {one.basis_id for one in found.held if one.on_permit}
    many = len(found.sites)
    words = (
        f"{found.parameter.label} in {counted(len(said), 'version')}, "
        f"from {said[0]} to {said[-1]}; held at {counted(many, 'site')}"
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
