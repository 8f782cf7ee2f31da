"""That somebody has a matter's page open, or has seen it: no message tells them of it again.

A mark in the cache, for each person the pages that matters lead to and when they opened them last.
Opened after the matter arose: they have seen it, and are never told. Opened before, but within the
last `HOLD`: they may have it before them, and are told when that is over, unless they open it
again. A mark that is lost, with the cache or to another one set at the same moment, costs at worst
a message about something seen.
"""

import logging
import time
from collections.abc import Iterable
from datetime import timedelta

from django.http import HttpRequest, HttpResponse

from audit.quick import quick
from people.notices.kinds import watched_pages

logger = logging.getLogger(__name__)
HOLD = timedelta(minutes=2)
KEPT = 8 * 24 * 3600  # seconds: longer than a week's mail waits
MOST = 100  # pages of one person

Marks = dict[str, float]


def _key(person: int) -> str:
    return f"notices:opened:{person}"


def note_opened(request: HttpRequest, response: HttpResponse) -> None:
    """After an answer: if it showed somebody a page that matters lead to, keep that and when."""
    match = request.resolver_match
    if match is None or match.view_name not in watched_pages():
        return
    if request.method != "GET" or response.status_code != 200 or request.user.pk is None:
        return
    mark_opened(request.user.pk, request.get_full_path())


def mark_opened(person: int, *paths: str) -> None:
    """Keep that they have opened these pages just now, or seen elsewhere what stands there."""
    marks: Marks = quick.get(_key(person)) or {}
    for path in paths:
        marks.pop(path, None)  # the newest last
        marks[path] = time.time()
    newest = dict(list(marks.items())[-MOST:])
    quick.set(_key(person), newest, KEPT)


def opened_by(people: Iterable[int]) -> list[tuple[int, str, float]]:
    """Person, path and moment (seconds since 1970) of every mark there is of these people."""
    keys = {_key(person): person for person in people}
    found: dict[str, Marks] = quick.get_many(keys)
    return [(keys[key], path, at) for key, marks in found.items() for path, at in marks.items()]
