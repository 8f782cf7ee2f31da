"""What the database itself refused, as an answer instead of a crash.

The actions check first and say why; these are the moments in which two people do the same at
once and the database has the last word.
"""

from django.db import Error
from psycopg import errors as sqlstates

from audit.errors import DomainError, Refused

TWICE = (sqlstates.UniqueViolation, sqlstates.ExclusionViolation)
GONE = (sqlstates.ForeignKeyViolation,)
GUARDED = (sqlstates.RestrictViolation,)  # raised by our own triggers, with a sentence of ours
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
    if isinstance(cause, GUARDED):
        return Refused(cause.diag.message_primary or "The database does not allow this change.")
    if isinstance(cause, BUSY):
        return Refused("Others are changing the same things just now: try again in a moment.")
    return None
