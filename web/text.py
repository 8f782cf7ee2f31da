"""Text as people and programs may give it: the one rule of what is printable.

Characters that nobody types and nothing prints (control characters, half surrogates) can't be
stored (NUL) or read back as they were sent; marks that turn the direction of writing let a name
read as another than it is. They are refused where text comes in, for every page and endpoint,
and again in the actions. Line ends and tabs are text, though not within one line of it.
"""

import re
from collections.abc import Iterable, Iterator
from itertools import islice

from audit.errors import Invalid, Problem

UNPRINTABLE = re.compile(
    r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]"
)
LINE_END = re.compile(r"[\t\n\r\u2028\u2029]")
SECRET = "password"  # noqa: S105 - the name of the field, whose value is never looked at or told
ALLOWED = "text without control characters"
TOLD = 10  # problems listed; more would only make the answer long


def printable(text: str, *, lines: bool = True) -> bool:
    """Whether it can be stored and printed; ``lines``: more than one line is fine."""
    return not UNPRINTABLE.search(text) and (lines or not LINE_END.search(text))


def one_line(text: str, most: int) -> bool:
    """Whether it is one line of 1 to ``most`` printable characters."""
    return 0 < len(text) <= most and printable(text, lines=False)


def refuse_unprintable(texts: Iterable[tuple[str, str]]) -> None:
    """Raise Invalid if one of these (field, text) has a character that is not printable."""
    bad = (Problem(field, text, ALLOWED) for field, text in texts if not printable(text))
    problems = list(islice((each for each in bad if each.field != SECRET), TOLD))
    if problems:
        raise Invalid.of(problems)


def texts_in(body: object) -> Iterator[tuple[str, str]]:
    """Every text of a parsed JSON body with its place, the names of its members included."""
    left: list[tuple[str, object]] = [("", body)]
    while left:  # a stack, since a body may be nested deeper than functions may
        place, value = left.pop()
        if isinstance(value, str):
            yield place, value
        elif isinstance(value, dict):
            for name, inner in value.items():
                yield place or str(name), str(name)
                left.append((f"{place}.{name}" if place else str(name), inner))
        elif isinstance(value, list):
            left.extend((f"{place}[{number}]", inner) for number, inner in enumerate(value))
