"""Putting one's name to something: by passkey, password and second factor, or the provider's word.

Every time anew.
"""

from contextlib import suppress
from dataclasses import dataclass

from django.core.cache import cache
from django.db import transaction
from django.utils import timezone

from audit.capture.context import record_refusal, recorded
from audit.errors import UNSHOWN, Invalid, Refused, Subject
from audit.ledger.passkeys import PasskeyError
from audit.vocabulary import register
from people.confirming.codes import factors_of, use_code
from people.passkeys.asking import Dialog, require_counting_up
from people.passkeys.models import Assertion, KeyEvent, why_unproven
from people.persons.models import User
from people.persons.permissions import require
from people.persons.standing import require_in_full
from people.persons.verbs import Role, Verb
from people.sign_in.actions import FACTOR_USED
from people.sign_in.vouching import Vouching
from people.signatures.models import Manner, Meaning, Signature, SignedContent
from people.signatures.rules import need_of, require_means

SIGNING_REFUSED = register("signing.refused", "Was refused a signature")


# Counts wrong passwords and codes at signing, for all processes together (web.lasting_cache).

LIMIT = 5
WINDOW = 15 * 60  # seconds


def count_attempt(user: User, subject: Subject | None = None) -> None:
    """Count one try before its password is looked at, so that guesses at once cannot slip by.

    Raises Refused from the sixth try within 15 minutes of the first.
    """
    if _counted(_key(user)) > LIMIT:
        raise Refused(
            f"Signing is closed for {WINDOW // 60} minutes after {LIMIT} wrong passwords or codes.",
            how_to_ask="Wait, then sign again; if you forgot your password, set a new one.",
            subject=subject,
        )


def forget_attempts(user: User) -> None:
    """Password and code were right: start counting anew."""
    cache.delete(_key(user))


def _counted(key: str) -> int:
    """Which try this is. The count may end, or be forgotten by a right password, at any line."""
    while not cache.add(key, 1, WINDOW):
        with suppress(ValueError):  # it ended just now
            return cache.incr(key)
    return 1


def _key(user: User) -> str:
    return f"signing-attempts:{user.pk}"


@dataclass(frozen=True)
class Credentials:
    """What a signer typed. The first signature of a session needs the e-mail address as well.

    passkey: what their passkey is asked and answered, instead of all else.
    vouching: the provider's word for whoever has no password here, instead of one.
    code: of the code app, or a spare one; needed from whoever has a second factor.
    session_signed: whether this session has signed before; a token's request has no session.
    """

    password: str
    identification: str | None = None
    session_signed: bool = False
    code: str = ""
    passkey: Dialog | None = None
    vouching: Vouching | None = None

    def __repr__(self) -> str:
        return "Credentials(…)"  # never what is in it, not even in a traceback

    def reserved(self, subject_type: str) -> int | None:
        """The number to give to what is made by signing, where it was signed for already."""
        asked = self.passkey or self.vouching
        return asked.reserved(subject_type) if asked else None


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

    Call it inside the action's own transaction, so that neither stands without the other. Raises
    Invalid (email, password, code), NotPermitted, Refused (guesses, an answer), OneMoreStep.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("sign() needs the transaction of the action that is signed")
    subject = Subject(subject_type, subject_id)
    role = _role(by, verb, site_id, subject)
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
    _prove(signature, credentials, subject)
    signature.save(force_insert=True)
    if seen:
        SignedContent(signature=signature, canonical=seen.decode()).save(force_insert=True)
    return signature


def _role(by: User, verb: Verb, site_id: int | None, subject: Subject) -> Role:
    """In which role: never by a PIN, whatever the verb."""
    require_in_full(by, "sign", subject)
    return require(by, verb, site_id, subject)


# Whether it is they.


def _prove(signature: Signature, credentials: Credentials, subject: Subject) -> None:
    """Put into the signature how it was shown that it is they. Raises what sign() does."""
    factors = factors_of(signature.user_id)
    need = need_of(signature.meaning, [signature.role])
    require_means(need, factors, by_passkey=bool(credentials.passkey), about=subject)
    if credentials.passkey:
        signature.assertion = _answered(signature, credentials.passkey, subject)
        signature.manner = Manner.PASSKEY
    elif credentials.vouching:
        signature.manner = _vouched(signature, credentials, subject, factor=factors.any)
    else:
        signature.manner = _check(signature.user, credentials, subject, factor=factors.any)


def _answered(signature: Signature, dialog: Dialog, subject: Subject) -> Assertion:
    """Their passkey's answer, stored. Raises OneMoreStep, Refused."""
    try:
        answer = dialog.take(signature.said())
        events = KeyEvent.objects.of_factors([answer.key.factor_id])
        why = why_unproven(signature.said(), timezone.now(), answer, events)
        if why:
            raise PasskeyError(why)
        require_counting_up(answer)
    except PasskeyError as error:
        raise Refused(
            f"The passkey's answer is not taken: {error}.",
            how_to_ask="Ask it again, or sign with password and code.",
            subject=subject,
        ) from None
    answer.save(force_insert=True)
    return answer


def _vouched(
    signature: Signature, credentials: Credentials, subject: Subject, *, factor: bool
) -> Manner:
    """By the provider's word for just this. Raises OneMoreStep, Invalid (code), Refused."""
    assert credentials.vouching
    question = credentials.vouching.require(signature.said())
    if factor:
        _require_code(credentials)
        count_attempt(signature.user, subject)
        _check_code(signature.user, credentials, subject)
        forget_attempts(signature.user)
    credentials.vouching.use(question)
    return Manner.SINGLE_AND_CODE if factor else Manner.SINGLE


def _check(by: User, credentials: Credentials, subject: Subject, *, factor: bool) -> Manner:
    """By what they showed it. Raises Invalid, and Refused after too many guesses."""
    if not by.has_usable_password():
        raise Refused(
            "You have no password here to sign with.",
            how_to_ask="Sign on the page: with a passkey, or by single sign-on.",
            subject=subject,
        )
    _complete(credentials, factor=factor)
    count_attempt(by, subject)
    typed = (credentials.identification or "").strip().lower()
    # One answer for both, and the same work done for either: neither can be guessed apart.
    right = by.check_password(credentials.password)
    if not right or typed not in ("", by.email):
        raise _wrong("password", "the password you sign in with", by, subject)
    if factor:
        _check_code(by, credentials, subject)
    forget_attempts(by)
    return Manner.PASSWORD_AND_CODE if factor else Manner.PASSWORD


def _check_code(by: User, credentials: Credentials, subject: Subject) -> None:
    """It is used up, with an entry of its own. Raises Invalid."""
    with recorded(by=by, action=FACTOR_USED):
        right = use_code(by.pk, credentials.code)
    if not right:
        raise _wrong("code", "a code of your code app or a spare one, not used before", by, subject)


def _complete(credentials: Credentials, *, factor: bool) -> None:
    """Raise Invalid for what was left out, which is not counted as a guess."""
    typed = (credentials.identification or "").strip()
    if not typed and not credentials.session_signed:
        raise Invalid("email", "", "your own e-mail address: a session's first signature needs it")
    if not credentials.password:
        raise Invalid("password", "", "your password, for every signature")
    if factor:
        _require_code(credentials)


def _require_code(credentials: Credentials) -> None:
    if not credentials.code.strip():
        raise Invalid("code", "", "a code of your code app or a spare one, for every signature")


def _wrong(field: str, allowed: str, by: User, subject: Subject) -> Invalid:
    """Written aside, since the action around this is about to be undone."""
    wrong = Refused(f"A signature was tried with a wrong {field}.", subject=subject)
    record_refusal(wrong, by=by, action=SIGNING_REFUSED)
    return Invalid(field, UNSHOWN, allowed)
