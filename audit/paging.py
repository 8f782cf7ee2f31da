"""The keys of the neighbouring pages, in and out of addresses."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.http import QueryDict

from audit.days import LAST
from audit.errors import Invalid
from audit.queries import HistoryPage


@dataclass(frozen=True, slots=True)
class Key:
    """Where a page begins: older than an id, newer than one, or at the newest."""

    before: int | None = None
    after: int | None = None


def key_of(query: Mapping[str, str]) -> Key:
    """From ?before= or ?after=. Raises Invalid for anything but one entry number."""
    before, after = (_id(query, name) for name in ("before", "after"))
    if before is not None and after is not None:
        raise Invalid("after", after, "before or after, not both")
    return Key(before, after)


def _id(query: Mapping[str, str], name: str) -> int | None:
    text = query.get(name)
    if text is None:
        return None
    if not (text.isascii() and text.isdigit() and len(text) <= 19 and int(text) < LAST):
        raise Invalid(name, text, "the number of an entry")
    return int(text)


def addresses(path: str, query: QueryDict, page: HistoryPage) -> dict[str, str]:
    """Of the newest, the newer and the older page, with the same filter; '' where there is none."""
    older, newer = page.older_than, page.newer_than
    return {
        "first_url": _with(path, query) if newer is not None else "",
        "newer_url": _with(path, query, after=newer) if newer is not None else "",
        "older_url": _with(path, query, before=older) if older is not None else "",
    }


def _with(path: str, query: QueryDict, **key: int) -> str:
    changed = query.copy()
    for name in ("before", "after"):
        changed.pop(name, None)
    for name, value in key.items():
        changed[name] = str(value)
    return f"{path}?{changed.urlencode()}" if changed else path
