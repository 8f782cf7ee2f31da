"""What people and programs send wrongly, by the kind of thing that a good value is."""

import re
from collections.abc import Sequence
from datetime import date
from typing import TypeVar

from tests.services import soaking

V = TypeVar("V")
ENDLESS = "9" * 400
PAST_ALL_LIMITS = "9" * 5000  # more digits than Python turns into a number
LONG = "x" * 6000
NUL, BELL = "a\x00b", "a\x07b"
NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")

# The first ones of each list are tried in every run, all of them in a soak.
USUAL = 8
TEXTS: dict[str, list[str]] = {
    "number": [
        "18 s", "NaN", "1,8,0", "1e3", "1" + "0" * 30, "-99999", PAST_ALL_LIMITS, "²",
        "eighteen", "Infinity", "-inf", "1 000", "0x12", "--1", NUL, BELL, LONG, ENDLESS,
        "-" + ENDLESS, "0.00000000000000000001",
    ],
    "whole": [
        "18 g", "-1", "1.5", str(2**63), "1" + "0" * 30, PAST_ALL_LIMITS, "1e3", "²",
        "eighteen", "NaN", "Infinity", "1,8,0", "1 000", NUL, BELL, LONG, ENDLESS, "-" + ENDLESS,
    ],
    "text": [NUL, BELL, LONG],
    "date": ["yesterday", "2026-02-30", "99999-01-01", NUL, "0000-00-00", "30.2.2026", LONG],
    "time": ["noon", "25:00", NUL, "12:61", "12h", LONG],
    "moment": ["yesterday", "2026-02-30T10:00:00Z", "99999-01-01T00:00:00Z", NUL, "2026", LONG],
    "digest": ["", "0" * 63, "0" * 65, "g" * 64, NUL],
    "email": ["nobody", "a@b@c", NUL, LONG, "a b@example.com"],
}  # fmt: skip
WRONG_TYPES: dict[str, list[object]] = {
    # A decimal comma is for people alone.
    "number": [True, [], {}, ["18"], "18,0", 10**30, -(10**30)],
    "whole": [True, [], {}, ["1"], "18,0", 1.5, 10**30, 2**63, -1],
    "text": [True, [], {}, ["a"]],
    "date": [True, [], {}, 7],
    "time": [True, [], {}, 7],
    "moment": [True, [], {}, 7],
    "digest": [True, [], {}, 7],
    "email": [True, [], {}, 7],
    "flag": ["maybe", 7, [], {}, "\x00"],
    "list": ["x", 7, {}, True, {"0": 1}],
    "map": ["x", 7, [], True, ["x"]],
}


def kind_of(good: object) -> str:
    """The kind of a good value in a JSON body."""
    if isinstance(good, bool):
        return "flag"
    if isinstance(good, int):
        return "whole"
    if isinstance(good, list | dict):
        return "list" if isinstance(good, list) else "map"
    return _kind_of_text(str(good))


def _kind_of_text(good: str) -> str:
    if NUMBER.fullmatch(good):
        return "number"
    if re.fullmatch(r"[0-9a-f]{64}", good):
        return "digest"
    if "@" in good:
        return "email"
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T.*", good):
        return "moment"
    if re.fullmatch(r"[0-9]{2}:[0-9]{2}.*", good):
        return "time"
    try:
        date.fromisoformat(good)
    except ValueError:
        return "text"
    return "date"


def some(values: Sequence[V], place: int, many: int) -> Sequence[V]:
    """A few of them, others for the next place, so that each is tried somewhere; all in a soak."""
    if soaking() or len(values) <= many:
        return values
    start = place * many % len(values)
    return [*values[start:], *values[:start]][:many]


def texts_for(kind: str) -> Sequence[str]:
    """Bad values as they are typed."""
    return TEXTS.get(kind, [])[: None if soaking() else USUAL]


def bad_for(kind: str) -> Sequence[object]:
    """Bad values for a JSON body."""
    return [*texts_for(kind), *WRONG_TYPES[kind]]
