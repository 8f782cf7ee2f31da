"""The kinds of problem: one number, one title and one address each, for pages and API alike."""

from dataclasses import dataclass

from django.db import Error
from psycopg import Error as PgError
from psycopg import errors as sqlstates

from audit.errors import DomainError, Invalid, NotFound, NotPermitted, Refused, Stale


@dataclass(frozen=True)
class Kind:
    """A kind of problem; its address is explained at /api/v1/problems/."""

    slug: str
    status: int
    title: str
    about: str

    @property
    def uri(self) -> str:
        """RFC 9457's `type`: a relative reference, so that it holds on every host."""
        return f"/api/v1/problems/#{self.slug}"


KINDS = (
    Kind("invalid", 400, "Not valid", "A value is missing or not allowed; `problems` lists each."),
    Kind("not-signed-in", 401, "Not signed in", "Send a token, or sign in."),
    Kind("signature", 401, "Not signed as it must be", "The request's signature does not fit it."),
    Kind("clock", 401, "Wrong clock", "Signed too long ago or ahead: `Date` says what time it is."),
    Kind("replayed", 401, "Seen before", "A request with this nonce came before: sign it anew."),
    Kind("revoked", 401, "Revoked", "That key was revoked or replaced: nothing it signs counts."),
    Kind("not-permitted", 403, "Not permitted", "Your roles, sites or token do not allow it."),
    Kind("not-found", 404, "Not found", "There is nothing at this address, or not for you."),
    Kind("method", 405, "Wrong method", "This address does not answer that method."),
    Kind("not-acceptable", 406, "Not acceptable", "Only JSON is answered here."),
    Kind("refused", 409, "Refused", "A rule does not allow it; `detail` says which."),
    Kind("stale", 412, "Changed meanwhile", "Read it again: `If-Match` named an older revision."),
    Kind("too-large", 413, "Too large", "The body is larger than is accepted."),
    Kind("media-type", 415, "Wrong media type", "Send application/json."),
    Kind("key-reused", 422, "Key used before", "That Idempotency-Key belongs to another request."),
    Kind("if-match", 428, "If-Match needed", "Edits name the revision they were made from."),
    Kind("too-many", 429, "Too many requests", "Wait as long as `Retry-After` says."),
    Kind("failed", 500, "Failed", "Our fault; the request id in the answer's header finds it."),
    Kind("unavailable", 503, "Not available", "Try again soon; nothing was changed."),
)
_BY_STATUS = {kind.status: kind for kind in reversed(KINDS)}  # the first of a number is its usual
_BY_SLUG = {kind.slug: kind for kind in KINDS}
_STATUS_OF: dict[type[DomainError], int] = {
    NotPermitted: 403,
    Refused: 409,
    Stale: 412,
    NotFound: 404,
    Invalid: 400,
}


def kind_of_status(status: int) -> Kind:
    """The kind with that number; any other 4xx counts as not valid, the rest as failed."""
    return _BY_STATUS.get(status) or _BY_STATUS[400 if 400 <= status < 500 else 500]


def kind_named(slug: str) -> Kind:
    """The kind of that name. Raises KeyError."""
    return _BY_SLUG[slug]


def kind_of(error: DomainError) -> Kind:
    """The kind of a domain error; the most special class first."""
    status = next((code for cls, code in _STATUS_OF.items() if isinstance(error, cls)), 400)
    return _BY_STATUS[status]


# What the database itself refused, as an answer instead of a crash.
#
# The actions check first and say why; these are the moments in which two people do the same at
# once and the database has the last word.

TWICE = (sqlstates.UniqueViolation, sqlstates.ExclusionViolation)
GONE = (sqlstates.ForeignKeyViolation,)
GUARDED = (sqlstates.RestrictViolation,)  # raised by our own triggers, with a sentence of ours
OUR_CLASS = "PL"  # so are errors whose SQLSTATE begins so: no standard class does
BUSY = (sqlstates.DeadlockDetected, sqlstates.SerializationFailure, sqlstates.LockNotAvailable)


def as_domain_error(raised: BaseException) -> DomainError | None:
    """The refusal behind a database error; None for anything that is a fault of the program."""
    if isinstance(raised, DomainError):
        return raised
    cause = raised.__cause__ if isinstance(raised, Error) else None
    if isinstance(cause, TWICE):
        return Refused("Somebody else entered the same at the same moment: read it again.")
    if isinstance(cause, GONE):
        return Refused("Something this refers to was changed meanwhile: read it again.")
    if isinstance(cause, GUARDED) or (isinstance(cause, PgError) and _is_ours(cause)):
        sentence = cause.diag.message_primary or "The database does not allow this change."
        return Refused(sentence, how_to_ask=cause.diag.message_hint or "")
    if isinstance(cause, BUSY):
        return Refused("Others are changing the same things just now: try again in a moment.")
    return None


def _is_ours(cause: PgError) -> bool:
    return bool(cause.sqlstate and cause.sqlstate.startswith(OUR_CLASS))
