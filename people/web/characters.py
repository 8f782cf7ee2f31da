"""Characters that nobody types and nothing prints: control characters and half surrogates.

They can't be stored (NUL) or read back as they were sent, so they are refused where text comes
in, in one place for every page and endpoint. Line ends and tabs are text.
"""

import re
from collections.abc import Iterable, Iterator
from itertools import islice

from audit.errors import Invalid, Problem

UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")
SECRET = "password"  # noqa: S105 - the name of the field, whose value is never looked at or told
ALLOWED = "text without control characters"
TOLD = 10


def refuse_unprintable(texts: Iterable[tuple[str, str]]) -> None:
    """Raise Invalid if one of these (field, text) has such a character."""
    bad = (Problem(field, text, ALLOWED) for field, text in texts if UNPRINTABLE.search(text))
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
