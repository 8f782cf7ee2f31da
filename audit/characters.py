"""Characters that are not seen: where they stand in a text, and the text with them made visible.

Control characters and half surrogates print nothing. Marks that turn the direction of writing let
a text read as another than it is, and what takes no room lets two texts look alike (Unicode
Technical Report 36, 2.10 and 2.11; the ranges are Default_Ignorable_Code_Point of Unicode 15.1
and what shows nothing without being ignorable). Line ends and tabs are text. So are joiners
between letters or pictures that join, and the mark that asks for a picture after what has one.
"""

import re
import unicodedata

_NEVER = (
    "\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\xad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180b-\u180f"
    "\u200b\u200e\u200f\u202a-\u202e\u2060-\u206f\u2800\u3164\ud800-\udfff\ufe00-\ufe0d\ufeff"
    "\uffa0\ufff0-\ufffb\U0001bca0-\U0001bca3\U0001d173-\U0001d17a\U000e0000-\U000e0fff"
)
# Scripts from Hebrew on, and pictures with the marks that follow them.
_JOINING = (
    "\u0590-\u1fff\u2190-\u2bff\u2c80-\ud7ff\uf900-\ufdff\ufe0f\ufe70-\ufefc\U00010000-\U0003ffff"
)
_PICTURES = "#*0-9\xa9\xae\u203c-\u3299\U0001f000-\U0001faff"
UNSEEN = re.compile(
    f"[{_NEVER}]"
    f"|(?<![{_JOINING}])[\u200c\u200d]|[\u200c\u200d](?![{_JOINING}])"
    f"|(?<![{_PICTURES}])[\ufe0e\ufe0f]"
)
_PERHAPS = re.compile(f"[{_NEVER}\u200c\u200d\ufe0e\ufe0f]")
_ORDINARY = bytes([*b"\t\n\r", *range(0x20, 0x7F)])


def may_hold_unseen(page: bytes) -> bool:
    """Whether a look at the whole of it, in UTF-8, is worth its while: it seldom is."""
    rest = page.translate(None, _ORDINARY)
    return bool(rest) and _PERHAPS.search(rest.decode()) is not None


def code_of(sign: str) -> str:
    """The character by its number, such as U+202E, and its name where Unicode gives it one."""
    name = unicodedata.name(sign, "").lower()
    return f"U+{ord(sign):04X}" + (f" ({name})" if name else "")


def visible(text: str) -> str:
    """The text with every character that is not seen as ⟨U+202E⟩."""
    return UNSEEN.sub(lambda found: f"⟨U+{ord(found[0]):04X}⟩", text)


def where_unseen(text: str) -> str:
    """The first of them and where it stands, in words; nothing where there is none."""
    found = UNSEEN.search(text)
    if found is None:
        return ""
    before = text[: found.start()]
    line, place = before.count("\n") + 1, len(before) - before.rfind("\n")
    in_line = f" of line {line}" if line > 1 else ""
    return f"{code_of(found[0])} is character {place}{in_line}"
