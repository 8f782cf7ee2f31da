"""'Not as the history has it': the notice on the page of a thing that a reconciliation names.

A page of a thing is known by its address, as the subjects' own pages are registered. What the last
reconciliation found is kept in the cache that all processes share, so that a page costs no query.
"""

from dataclasses import dataclass
from typing import cast

from django.http import HttpRequest

from audit.quick import quick
from audit.reading.access import Viewer
from audit.reconciling.actions import RECONCILIATIONS
from audit.reconciling.report import Kind
from audit.reconciling.words import sentence
from audit.registry import registry

CACHED = 60  # seconds; a run that ends forgets it at once
KEY = "reconciling:found"
ALL = "all"
ROWS = (Kind.ALTERED, Kind.LOST, Kind.UNMADE)
SHOWN = 5  # differences on a page; the rest is said in a number


@dataclass(frozen=True, slots=True)
class Notice:
    """What differs of one thing, a sentence each, and how many more."""

    lines: list[str]
    more: int


def not_as_recorded(request: HttpRequest) -> dict[str, object]:
    """Context of every page: the notice, if it is of something that differs, or an overview."""
    match = request.resolver_match
    if match is None or not getattr(request, "user", None) or not request.user.is_authenticated:
        return {}
    if match.view_name in registry.overviews:
        notice = _at_the_sites_of(request.user)
        return {"not_as_recorded": notice} if notice else {}
    kind = _kind_of(match.view_name)
    pk = next((v for v in match.kwargs.values() if isinstance(v, int)), None)
    if not kind or pk is None:
        return {}
    notice = notice_of(kind, pk)
    return {"not_as_recorded": notice} if notice else {}


def notice_of(subject_type: str, subject_id: int) -> Notice | None:
    """What the newest reconciliation says of this thing; None where it agrees."""
    return _notice(_found().get(f"{subject_type}:{subject_id}", []))


def _at_the_sites_of(user: object) -> Notice | None:
    """Everything, for whoever reads the history; of their sites, for whoever reads those'."""
    found, viewer = _found(), cast(Viewer, user)
    # Asked without scope_of: to look at a board is no attempt to read the history.
    if not found or not viewer.has_perm("audit.view_entry"):
        return None
    scope = viewer.history_sites()
    if scope is None:
        return _notice(found.get(ALL, []))
    return _notice([line for site in sorted(scope) for line in found.get(f"site:{site}", [])])


def _notice(lines: list[str]) -> Notice | None:
    return Notice(lines[:SHOWN], max(len(lines) - SHOWN, 0)) if lines else None


def forget() -> None:
    """There is a newer answer."""
    quick.delete(KEY)


def _kind_of(view_name: str) -> str:
    kinds = registry.subjects.values()
    return next((kind.type for kind in kinds if kind.url_name == view_name), "")


def _found() -> dict[str, list[str]]:
    found: dict[str, list[str]] | None = quick.get(KEY)
    if found is None:
        found = _read()
        quick.set(KEY, found, CACHED)
    return found


def _read() -> dict[str, list[str]]:
    """The newest answer's sentences by the thing they are about."""
    newest = RECONCILIATIONS.newest_answer()
    things: dict[str, list[str]] = {}
    for one in newest.findings if newest else ():
        if one["kind"] in ROWS:
            things.setdefault(ALL, []).append(sentence(one))
        for type_, pk in one["touched"] if one["kind"] != Kind.UNSEEN else ():
            things.setdefault(f"{type_}:{pk}", []).append(sentence(one))
    return things
