"""Who may read the history, and of which sites."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol, cast

from rest_framework.request import Request

from audit.capture.context import record_outside, record_refusal
from audit.capture.models import Entry
from audit.endpoint import Endpoint
from audit.errors import NotPermitted, Subject
from audit.registry import registry
from audit.vocabulary import register

READING_REFUSED = register("history.refused", "Was refused the history")


@dataclass(frozen=True, slots=True)
class Reach:
    """What of the history somebody may read: the sites, and of which tables (None: of all)."""

    sites: frozenset[int] | None
    tables: frozenset[str] | None = None

    @property
    def whole(self) -> bool:
        """Whether it is everything that happened at those sites."""
        return self.tables is None

    def holds(self, site_id: int | None) -> bool:
        """Whether it is of that site, or of what belongs to none."""
        return self.sites is None or site_id is None or site_id in self.sites


class Viewer(Protocol):
    """Somebody who may read some of the history."""

    pk: int
    name: str
    is_authenticated: bool

    def has_perm(self, perm: str) -> bool:
        """Django's question."""
        ...

    def history_sites(self) -> frozenset[int] | None:
        """The sites whose entries they may read; None means every site."""
        ...

    def matter_sites(self) -> frozenset[int] | None:
        """The sites of which they may read what happened to some tables (`registry.matters`)."""
        ...


def scope_of(user: object) -> frozenset[int] | None:
    """The sites whose history this person may read, None for all. Raises NotPermitted.

    Entries that belong to no site (recipes, people, policy) are read by everyone who reads any.
    """
    viewer = cast(Viewer, user)
    if not viewer.is_authenticated or not viewer.has_perm("audit.view_entry"):
        raise _noted(
            viewer,
            NotPermitted(
                "Your roles do not let you read the history.",
                who_may="An owner",
                how_to_ask="Ask an owner.",
            ),
        )
    return viewer.history_sites()


def reaches_of(user: object) -> tuple[Reach, ...]:
    """What this person may read of one thing's history, the fullest first. Raises NotPermitted.

    Those who read no more than the matters of their work never see who signed in, people, tokens,
    policy or what was refused; of what belongs to no site, not what is about several sites at once
    unless they read those of all.
    """
    viewer = cast(Viewer, user)
    partly = viewer.is_authenticated and viewer.has_perm("audit.view_matter")
    if not partly:
        return (Reach(scope_of(user)),)
    sites = viewer.matter_sites()
    tables = registry.matters if sites is None else registry.matters - registry.of_several_sites
    matters = Reach(sites, frozenset(tables))
    if not viewer.has_perm("audit.view_entry"):
        return (matters,)
    whole = Reach(viewer.history_sites())
    return (whole,) if whole.sites is None else (whole, matters)


class HistoryEndpoint(Endpoint):
    """For those who read some of the history; others get 403, and the history a line."""

    def check_permissions(self, request: Request) -> None:
        """Asked before the query is looked at. Raises NotPermitted."""
        super().check_permissions(request)
        scope_of(request.user)


class MatterEndpoint(Endpoint):
    """For those who read some of the history, or the matters of their work; as HistoryEndpoint."""

    def check_permissions(self, request: Request) -> None:
        """Asked before the query is looked at. Raises NotPermitted."""
        super().check_permissions(request)
        reaches_of(request.user)


def note_outside(user: object, scope: frozenset[int] | None, entries: Iterable[Entry]) -> None:
    """Where nothing was found within the scope: write it down if it is there, but outside.

    `entries` are those asked for, read only if a scope could have left them out.
    """
    for entry in () if scope is None else entries:
        subject = Subject(entry.subject_type, entry.subject_id, entry.subject)
        record_outside(by=cast(Viewer, user), subject=subject, site_id=entry.site_id)


def require_every_site(user: object) -> None:
    """For what concerns the history as a whole. Raises NotPermitted unless they read all of it."""
    if scope_of(user) is not None:
        raise _noted(
            cast(Viewer, user),
            NotPermitted(
                "The whole history is for those who read that of every site.",
                who_may="An owner of all sites",
                how_to_ask="Ask one of them for the export, or for the answer of a check.",
            ),
        )


def _noted(viewer: Viewer, refused: NotPermitted) -> NotPermitted:
    """Written down like any other refusal: who tries the history is part of it."""
    if viewer.is_authenticated:
        record_refusal(refused, by=viewer, action=READING_REFUSED)
    return refused
