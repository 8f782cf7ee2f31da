"""States, quantities and moments as markup, each drawn in this one place.

As functions, since a list prints hundreds: a template for each would cost more than all the rest.
"""

from datetime import UTC, datetime, tzinfo
from functools import lru_cache

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from web import printing
from web.icons import mark_for


@lru_cache(maxsize=500)
def mark(code: str, word: str = "", count: int = 1) -> SafeString:
    """A state as drawn mark and word; `word` replaces the usual one, `count` things are in it."""
    drawn = mark_for(code)
    usual = drawn.several if count != 1 and drawn.several else drawn.word
    line = format_html('<path class="line" d="{}" />', drawn.shape.line) if drawn.shape.line else ""
    fill = format_html('<path class="fill" d="{}" />', drawn.shape.fill) if drawn.shape.fill else ""
    return format_html(
        '<span class="mark mark-{}"><svg viewBox="0 0 16 16" aria-hidden="true" focusable="false">'
        "{}{}</svg><span>{}</span></span>",
        drawn.tone, line, fill, word or usual,
    )  # fmt: skip


def quantity(
    value: object, code: str = "", below: object = None, above: object = None
) -> SafeString:
    """A value with its unit and, where given, its tolerance either way; text passes through.

    In the units of whoever reads the page; where both are read, the other one in brackets.
    """
    words = " words" if value not in {None, ""} and printing.exact(value) is None else ""
    first, *more = printing.figures(value, code, below, above)
    beside = format_html_join(
        "", ' <span class="beside">({})</span>', ((_drawn(one, ""),) for one in more)
    )
    return format_html("{}{}", _drawn(first, words), beside)


def as_stored(value: object, code: str = "") -> SafeString:
    """The same digit for digit in the unit it is stored in, whoever reads: for the history."""
    text = printing.number(value)
    words = " words" if value not in {None, ""} and printing.exact(value) is None else ""
    unit = "" if text == printing.NONE else printing.unit_label(code, text)
    return _drawn(printing.Figure(text, unit), words)


def _drawn(one: printing.Figure, words: str) -> SafeString:
    unit = format_html('&nbsp;<wbr><span class="qty-unit">{}</span>', one.unit) if one.unit else ""
    allowed = one.tolerance
    return format_html(
        '<span class="qty{}"><span class="qty-num">{}</span>{}</span>{}',
        words, one.text, unit,
        format_html(' <span class="tolerance">{}</span>', allowed) if allowed else "",
    )  # fmt: skip


def stamp(when: datetime, words: str) -> SafeString:
    """A moment in these words, and for programs in UTC."""
    exact = when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return format_html('<time datetime="{}">{}</time>', exact, words)


def second(when: datetime | None, zone: str | tzinfo | None = None, *, bare: bool = False) -> str:
    """A moment in the site's own zone, to the second; `bare` where the zone is said elsewhere."""
    if when is None:
        return printing.NONE
    return stamp(when, printing.moment(when, zone, seconds=True, bare=bare))
