"""What the database itself refused, as an answer instead of a crash.

The actions check first and say why; these are the moments in which two people do the same at
once and the database has the last word.
"""

from django.db import Error
from psycopg import Error as PgError
from psycopg import errors as sqlstates

from audit.errors import DomainError, Refused

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
        told = cause.diag.message_primary or "The database does not allow this change."
        return Refused(told, how_to_ask=cause.diag.message_hint or "")
    if isinstance(cause, BUSY):
        return Refused("Others are changing the same things just now: try again in a moment.")
    return None


def _is_ours(cause: PgError) -> bool:
    return bool(cause.sqlstate and cause.sqlstate.startswith(OUR_CLASS))
