"""Who is acting, through which channel and why: set in the database once a transaction."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import asdict, dataclass, replace
from typing import Protocol

from django.db import DEFAULT_DB_ALIAS, connection, connections, models, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from audit.capture.refusals import write_refusal
from audit.errors import NotPermitted, Refused, Subject, shown
from audit.vocabulary import ELSEWHERE, known


class Channel(models.TextChoices):
    """How a change came in, and its word on pages."""

    PAGE = "page", "page"
    API = "api", "API"
    GATEWAY = "gateway", "gateway"
    TASK = "task", "task"
    CONSOLE = "console", "console"
    DATABASE = "database", "database"


def channel_words(channel: str) -> str:
    """The word for a channel as the history has it; one it doesn't know shows as it is."""
    return str(Channel(channel).label) if channel in Channel.values else channel


class Actor(Protocol):
    """Whoever acts, as far as the history needs to know them.

    `pk` is a person's number, None for whoever is no person and goes by its name and the request.
    If they also have `history_role(site_id) -> str`, it tells in which role they act there.
    """

    @property
    def pk(self) -> int | None: ...  # noqa: D102 - as said
    @property
    def name(self) -> str: ...  # noqa: D102 - as said


def _role_of(by: Actor, site_id: int | None) -> str:
    ask: Callable[[int | None], str] | None = getattr(by, "history_role", None)
    return ask(site_id) if ask else ""


@dataclass(frozen=True, slots=True)
class RequestContext:
    """What is known before anybody acts: set once a request, task or command."""

    channel: Channel = Channel.CONSOLE
    request_id: str = ""
    client_addr: str | None = None
    asked_for: str = ""  # method and path; only told where an attempt has no other words


request_context: ContextVar[RequestContext] = ContextVar(
    "request_context",
    default=RequestContext(),  # noqa: B039  frozen
)

PROGRAM = "program"  # the actor where nobody is: a timer


@dataclass(frozen=True, slots=True)
class Context:
    """What the capture writes into every entry of the transaction."""

    actor_id: int | None
    actor: str
    role: str
    channel: str
    request_id: str
    client_addr: str | None
    action: str
    reason: str
    signature_id: int | None

    def as_json(self) -> str:
        """As `audit_context()` in the database reads it, by the names of the history's columns."""
        values = asdict(self)
        values["road"] = values.pop("channel")
        return json.dumps(values)

    def apply(self) -> None:
        """Set it for the rest of the transaction (savepoints roll it back with them)."""
        _set_for_transaction(self.as_json())


def _set_for_transaction(value: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('audit.context', %s, true)", [value])


class Recording:
    """An action under way."""

    def __init__(self, context: Context, here: BaseDatabaseWrapper) -> None:
        self.context, self.here = context, here

    def signed(self, signature_id: int) -> None:
        """Name the signature under which the entries from here on are written."""
        self.context = replace(self.context, signature_id=signature_id)
        self.context.apply()

    def because(self, reason: str) -> None:
        """Say why, where that is only known once the action has looked at what it was given."""
        self.context = replace(self.context, reason=reason)
        self.context.apply()


_current: ContextVar[Recording | None] = ContextVar("recording", default=None)
_closing: ContextVar[Callable[[], None] | None] = ContextVar("closing", default=None)


@contextmanager
def closing_with(close: Callable[[], None]) -> Iterator[None]:
    """What the outermost action inside does last of all, in its own transaction and its name.

    For what a page knows of an action's values and the action does not, such as their evidence.
    """
    token = _closing.set(close)
    try:
        yield
    finally:
        _closing.reset(token)


def _context(
    outer: Recording | None,
    *,
    by: Actor | None,
    action: str,
    reason: str,
    signature_id: int | None,
    role: str,
) -> Context:
    """The outer action's person and channel if there is one, else `by` and the request's."""
    if outer:
        return replace(
            outer.context,
            action=known(action),
            reason=reason or outer.context.reason,
            signature_id=signature_id or outer.context.signature_id,
        )
    request = request_context.get()
    return Context(
        actor_id=by.pk if by else None,
        actor=by.name if by else PROGRAM,
        role=role,
        channel=request.channel.value,
        request_id=request.request_id,
        client_addr=request.client_addr,
        action=known(action),
        reason=reason,
        signature_id=signature_id,
    )


@contextmanager
def _applied(recording: Recording, outer: Recording | None) -> Iterator[Recording]:
    """Set it in the database for as long as the block lasts, then put back what held before.

    A rollback puts it back by itself, and so does the end of the transaction.
    """
    token = _current.set(recording)
    try:
        recording.context.apply()
        yield recording
        if outer:
            outer.context.apply()
        elif len(recording.here.atomic_blocks) > 1:  # the transaction goes on without us
            _set_for_transaction("")
    finally:
        _current.reset(token)


@contextmanager
def recorded(
    *,
    by: Actor | None,
    action: str,
    reason: str = "",
    signature_id: int | None = None,
    subject: Subject | None = None,
    site_id: int | None = None,
    role: str = "",
) -> Iterator[Recording]:
    """One transaction whose every change is recorded as this action of this person.

    Nested in another `recorded`, the outer person stays and only action, reason and signature
    change. `by` None is the program itself. A Refused that leaves the outermost block is written
    to the history after the rollback, with `subject` and `site_id` unless it brings its own.
    Raises UnknownAction for an action nobody registered.
    """
    here = connections[DEFAULT_DB_ALIAS]
    outer = _current.get()
    if outer and outer.here is not here:
        outer = None  # a copied ContextVar in another thread: nothing is set on its connection
    acting_as = role or (_role_of(by, site_id) if by and not outer else "")
    context = _context(
        outer, by=by, action=action, reason=reason, signature_id=signature_id, role=acting_as
    )
    try:
        with transaction.atomic(), _applied(Recording(context, here), outer) as recording:
            yield recording
            if outer is None and (close := _closing.get()):
                close()
    except Refused as refused:
        if outer is None:
            write_refusal(refused, context.as_json(), subject, site_id)
        raise


def record_refusal(
    refused: Refused,
    *,
    by: Actor | None,
    action: str,
    subject: Subject | None = None,
    site_id: int | None = None,
) -> None:
    """Write down a refusal that was raised outside `recorded`, such as in a view's own check."""
    role = _role_of(by, site_id) if by else ""
    context = _context(None, by=by, action=action, reason="", signature_id=None, role=role)
    write_refusal(refused, context.as_json(), subject, site_id)


def record_outside(*, by: Actor, subject: Subject, site_id: int | None) -> None:
    """Write down that somebody tried what lies at a site their roles do not cover.

    They are answered as if there were nothing, and so learn nothing; the history does.
    """
    asked_for = request_context.get().asked_for
    tried = NotPermitted(
        "It lies at a site that their roles do not cover: they were told that there is nothing.",
        subject=subject,
        site_id=site_id,
        attempted={"asked_for": (None, shown(asked_for))} if asked_for else {},
    )
    record_refusal(tried, by=by, action=ELSEWHERE)
