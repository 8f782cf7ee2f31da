"""Putting one's name to something: the password is asked for again, every time."""

from dataclasses import dataclass

from django.db import transaction

from audit.context import record_refusal
from audit.errors import UNSHOWN, Invalid, Refused
from audit.subject import Subject
from people.attempts import count_attempt, forget_attempts
from people.history import SIGNING_REFUSED
from people.models import Meaning, Signature, SignedContent, User
from people.permissions import require
from people.verbs import Verb


@dataclass(frozen=True)
class Credentials:
    """What a signer typed. The first signature of a session needs the e-mail address as well.

    session_signed: whether this session has signed before; a token's request has no session.
    """

    password: str
    identification: str | None = None
    session_signed: bool = False

    def __repr__(self) -> str:
        return "Credentials(…)"  # never the password, not even in a traceback


def sign(
    *,
    by: User,
    credentials: Credentials,
    meaning: Meaning,
    digest: str,
    subject_type: str,
    subject_id: int,
    verb: Verb,
    site_id: int | None = None,
    note: str = "",
    seen: bytes = b"",
) -> Signature:
    """Write the signature over a digest (64 hex digits of SHA-256 over what was seen).

    `seen` are the bytes of what was seen, to be kept where no other rows hold all of it; the
    database refuses any that do not have the digest.

    Call it inside the action's own transaction, so that neither stands without the other.
    Raises Invalid (email, password), NotPermitted, and Refused after too many wrong passwords.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("sign() needs the transaction of the action that is signed")
    subject = Subject(subject_type, subject_id)
    role = require(by, verb, site_id, subject)
    _check(by, credentials, subject)
    signature = Signature(
        user=by,
        name=by.name,
        role=role,
        meaning=meaning,
        digest=digest,
        subject_type=subject_type,
        subject_id=subject_id,
        note=note,
    )
    signature.save(force_insert=True)
    if seen:
        SignedContent(signature=signature, canonical=seen.decode()).save(force_insert=True)
    return signature


def _check(by: User, credentials: Credentials, subject: Subject) -> None:
    typed = (credentials.identification or "").strip().lower()
    if not typed and not credentials.session_signed:
        raise Invalid("email", "", "your own e-mail address: a session's first signature needs it")
    if not credentials.password:
        raise Invalid("password", "", "your password, for every signature")
    count_attempt(by, subject)
    # One answer for both, and the same work done for either: neither can be guessed apart.
    right = by.check_password(credentials.password)
    if typed and typed != by.email:
        right = False
    if not right:
        # Written aside, since the action around this is about to be undone.
        wrong = Refused("A signature was tried with a wrong password.", subject=subject)
        record_refusal(wrong, by=by, action=SIGNING_REFUSED)
        raise Invalid("password", UNSHOWN, "the password you sign in with")
    forget_attempts(by)
