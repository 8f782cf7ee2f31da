"""The one rule of what is printable, and who may do anything before anybody says so."""

from enum import StrEnum

import pytest

from audit.errors import Invalid, NotPermitted
from people.persons.models import User
from web.access import Access
from web.text import one_line, printable, refuse_unprintable, texts_in


class Verb(StrEnum):
    """A made-up one."""

    BREW = "brew"


LINES = "Two\nlines,\tand a tab"


@pytest.mark.parametrize("text", ["", "Crème brûlée", "می‌خواهم", "👩‍🍳", "a\u00a0b"])
def test_what_people_write_is_printable(text: str) -> None:
    assert printable(text)
    assert printable(text, lines=False)


@pytest.mark.parametrize("mark", ["\x00", "\x07", "\x7f", "\x85", "\ud800", "\u202e", "\u2066"])
def test_what_nobody_types_is_not(mark: str) -> None:
    assert not printable(f"a{mark}b")
    with pytest.raises(Invalid):
        refuse_unprintable([("note", f"a{mark}b")])
    refuse_unprintable([("password", f"a{mark}b")])


@pytest.mark.parametrize("end", ["\n", "\r", "\t", "\u2028"])
def test_one_line_has_no_ends_within(end: str) -> None:
    assert printable(f"a{end}b")
    assert not one_line(f"a{end}b", 10)


def test_one_line_has_a_length() -> None:
    assert one_line("a" * 10, 10)
    assert not one_line("a" * 11, 10)
    assert not one_line("", 10)


def test_every_text_of_a_body_is_found_with_its_place() -> None:
    found = set(texts_in({"a": ["x", {"b": LINES}], "c": 1}))
    assert {("a[0]", "x"), ("a[1].b", LINES), ("c", "c")} <= found


def test_nobody_may_do_anything_until_somebody_answers() -> None:
    asked = Access()
    with pytest.raises(NotPermitted):
        asked.require(User(), Verb.BREW, None)
    with pytest.raises(NotPermitted):
        asked.require_everywhere(User(), Verb.BREW)
