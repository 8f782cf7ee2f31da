"""What people and programs send wrongly, by the kind of thing that a good value is."""

import re
from collections.abc import Sequence
from datetime import date

ENDLESS = "9" * 400
PAST_ALL_LIMITS = "9" * 5000  # more digits than Python turns into a number
LONG = "x" * 6000
NUL, BELL = "a\x00b", "a\x07b"
NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")

# Texts that are no number at all, wherever they are typed.
NO_NUMBER = [
    "eighteen", "18 g", "NaN", "Infinity", "-inf", "18,0", "1e3", "1 000", "0x12", "²", "--1",
    NUL, BELL, LONG, "1" + "0" * 30, ENDLESS, PAST_ALL_LIMITS, "-" + ENDLESS,
]  # fmt: skip
TEXTS: dict[str, list[str]] = {
    "number": [*NO_NUMBER, "-99999", "0.00000000000000000001"],
    "whole": [*NO_NUMBER, "-1", "1.5", str(2**63)],
    "text": [NUL, BELL, LONG],
    "choice": ["no such thing", NUL, LONG, "-1", str(2**63), PAST_ALL_LIMITS],
    "date": ["yesterday", "2026-02-30", "30.2.2026", "0000-00-00", "99999-01-01", NUL, LONG],
    "time": ["noon", "25:00", "12:61", "12h", NUL, LONG],
    "moment": ["yesterday", "2026-02-30T10:00:00Z", "2026", "99999-01-01T00:00:00Z", NUL, LONG],
    "digest": ["", "0" * 63, "0" * 65, "g" * 64, NUL],
    "email": ["nobody", "a@b@c", "a b@example.com", NUL, LONG],
}
WRONG_TYPES: dict[str, list[object]] = {
    "number": [True, [], {}, ["18"], 10**30, -(10**30)],
    "whole": [True, [], {}, ["1"], 1.5, 10**30, 2**63, -1],
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


def bad_for(kind: str) -> Sequence[object]:
    """Every bad value for a JSON body."""
    return [*TEXTS.get(kind, []), *WRONG_TYPES[kind]]
