"""Characters that are not seen: found, named, told where, and made visible."""

import pytest

from audit.characters import UNSEEN, may_hold_unseen, visible, where_unseen

SEEN = [
    "",
    "Crème brûlée",
    "\u0645\u06cc\u200c\u062e\u0648",
    "👩\u200d🍳",
    "🏳\ufe0f\u200d🌈",
    "1\ufe0f\u20e3",
    "क\u094d\u200dष",
]
HIDDEN = {
    "\u202e": "U+202E (right-to-left override)",
    "\u2066": "U+2066 (left-to-right isolate)",
    "\u200f": "U+200F (right-to-left mark)",
    "\u200b": "U+200B (zero width space)",
    "\u200d": "U+200D (zero width joiner)",
    "\xad": "U+00AD (soft hyphen)",
    "\u3164": "U+3164 (hangul filler)",
    "\ufe0f": "U+FE0F (variation selector-16)",
    "\U000e0041": "U+E0041 (tag latin capital letter a)",
    "\x07": "U+0007",
}


@pytest.mark.parametrize("text", SEEN)
def test_what_joins_letters_or_pictures_is_text(text: str) -> None:
    assert not UNSEEN.search(text)
    assert visible(text) == text
    assert where_unseen(text) == ""


@pytest.mark.parametrize("sign", HIDDEN)
def test_what_is_not_seen_is_named_and_shown(sign: str) -> None:
    text = f"Two lines,\nab{sign}c"
    assert where_unseen(text) == f"{HIDDEN[sign]} is character 3 of line 2"
    assert visible(text) == f"Two lines,\nab⟨U+{ord(sign):04X}⟩c"
    assert may_hold_unseen(text.encode())


def test_a_page_of_ordinary_text_is_not_looked_at_twice() -> None:
    assert not may_hold_unseen("<p>Crème, 93 °C</p>\n".encode())
