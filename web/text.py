"""Text as people and programs may give it: the one rule of what is printable.

Characters that are not seen (audit.characters) can't be stored (NUL), read back as they were
sent, or told from others by a reader. They are refused where text comes in, for every page and
endpoint, and again in the actions. Line ends and tabs are text, though not within one line of it.
"""

import re
from collections.abc import Iterable, Iterator
from itertools import islice

from audit.characters import UNSEEN, where_unseen
from audit.errors import Invalid, Problem

LINE_END = re.compile(r"[\t\n\r\u2028\u2029]")
SECRET = "password"  # noqa: S105 - the name of the field, whose value is never looked at or told
# Fields that prove who somebody is, ours and the library's, and what they are called where they are
# asked for once more.
SECRETS = {
    SECRET: "Password",
    "oldpassword": "Current password",
    "password1": "New password",
    "password2": "New password again",
    "code": "Code",
    "pin": "PIN",
    "pin_again": "PIN again",
}
ANSWERS = frozenset({"passkey", "credential"})  # made by a device, for that moment
OF_THE_PAGE = ("csrfmiddlewaretoken", "sent_once")  # belong to the page as it was
NEVER_REPEATED = frozenset({*SECRETS, *ANSWERS, *OF_THE_PAGE})  # never shown again, never kept
TOLD = 10  # problems listed; more would only make the answer long


def printable(text: str, *, lines: bool = True) -> bool:
    """Whether it can be stored and printed; ``lines``: more than one line is fine."""
    return not UNSEEN.search(text) and (lines or not LINE_END.search(text))


def one_line(text: str, most: int) -> bool:
    """Whether it is one line of 1 to ``most`` printable characters."""
    return 0 < len(text) <= most and printable(text, lines=False)


def saying_where(kind: str, text: str) -> str:
    """What a message allows: ``kind`` of text, and the character that keeps it from being that."""
    where = where_unseen(text)
    return f"{kind} without control characters or such as are not seen; {where}" if where else kind


def line_of(field: str, typed: str, most: int) -> str:
    """The text as one line of 1 to ``most`` printable characters, blanks made single.

    Raises Invalid.
    """
    text = " ".join(typed.split())
    if not one_line(text, most):
        raise Invalid(field, typed, saying_where(f"1 to {most} printable characters", typed))
    return text


def refuse_unprintable(texts: Iterable[tuple[str, str]]) -> None:
    """Raise Invalid if one of these (field, text) has a character that is not printable."""
    bad = (
        Problem(field, text, saying_where("text", text))
        for field, text in texts
        if not printable(text)
    )
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
