"""Each shared part, rendered alone: what it says, and what it ties together."""

import re
from datetime import UTC, datetime
from decimal import Decimal
from html import unescape

import pytest
from django.template import engines
from django.utils.html import strip_tags

from tests.web.gallery.data import DIFF, WORK
from web.icons import MARKS

WHEN = datetime(2026, 8, 1, 12, 0, tzinfo=UTC)


def render(source: str, **context: object) -> str:
    """What a page that holds just this would print."""
    page = engines["django"].from_string("{% load ledgertags %}" + source)
    return str(page.render(context))


def words(html: str) -> str:
    """The text alone, as a person reads it; any white space, thin or not, is one space."""
    return re.sub(r"\s+", " ", unescape(strip_tags(html))).strip()


@pytest.mark.parametrize("code", MARKS)
def test_a_state_is_a_word_and_a_drawing(code: str) -> None:
    html = render("{% mark code %}", code=code)
    assert words(html) == MARKS[code].word
    assert "<path" in html
    assert 'aria-hidden="true"' in html


def test_no_two_words_of_one_family_share_a_drawing() -> None:
    for family in (
        ("draft", "in_review", "returned", "approved", "superseded", "withdrawn"),
        ("scheduled", "in_force", "suspended", "ended", "cancelled"),
        ("planned", "running", "stopped", "complete", "cancelled"),
        ("matches", "differs", "missing", "to_load", "on_permit", "by_hand", "empty"),
        ("open", "asked_back", "accepted", "declined", "taken_back"),
    ):
        assert len({MARKS[code].shape for code in family}) == len(family)


def test_a_mark_may_say_it_in_other_words() -> None:
    assert words(render('{% mark "differs" word="2 differ" %}')) == "2 differ"


def test_an_unknown_state_says_itself() -> None:
    assert words(render('{% mark "half_done" %}')) == "Half done"


def test_a_quantity_prints_unit_and_tolerance() -> None:
    html = render('{% quantity v "Cel" half half %}', v=Decimal("93.0"), half=Decimal("0.5"))
    assert words(html) == "93.0 °C \u22120.5 / +0.5"


def test_a_missing_value_has_no_unit() -> None:
    assert words(render('{% quantity v "Cel" %}', v=None)) == "\u2013"


def test_a_value_is_escaped() -> None:
    assert "<b>" not in render("{% quantity v %}{% mark v %}", v="<b>")


def test_a_time_carries_the_instant_in_utc() -> None:
    html = render('{{ when|site_time:"Europe/Lisbon" }}', when=WHEN)
    assert html == '<time datetime="2026-08-01T12:00:00Z">1 Aug 2026, 13:00 WEST</time>'


def test_the_way_back_is_left_out_where_there_is_none() -> None:
    assert render("{% trail %} {% endtrail %}") == ""
    html = render('{% trail %}{% crumb label "/r/" %}{% endtrail %}', label="A & B")
    assert '<li><a href="/r/">A &amp; B</a></li>' in html


def test_a_comparison_marks_only_what_differs() -> None:
    html = render('{% include "parts/diff_table.html" %}', rows=DIFF, old_title="3", new_title="4")
    assert html.count("(differs)") == 2
    only = render('{% include "parts/diff_table.html" with only_differing=True %}', rows=DIFF)
    assert "Dose" not in only


def test_a_work_list_is_one_link_a_line() -> None:
    html = render('{% include "parts/worklist.html" with items=work %}', work=WORK)
    assert html.count("<a ") == html.count("<li>") == len(WORK)
    assert "07:00 UTC\u22125" in html


def test_an_empty_work_list_says_so() -> None:
    html = render(
        '{% include "parts/worklist.html" with items=none empty_text="All done." %}', none=[]
    )
    assert words(html) == "All done."


def test_a_pager_without_more_is_nothing() -> None:
    assert render('{% include "parts/pager.html" %}').strip() == ""


def test_every_caution_names_the_licensed_technician() -> None:
    for kind in ("temperature", "pressure", "calibration"):
        said = words(render('{% include "parts/caution.html" %}', kind=kind))
        assert "licensed technician and local codes" in said
