"""A signature given with a passkey, checked without trusting whoever keeps it.

What the passkey signed is W3C Web Authentication's: authenticator data and the SHA-256 of the
client data, whose challenge is here the SHA-256 of a statement. The statement is canonical JSON
(RFC 8785) that says who signs, as what, with which meaning, over which digest and subject, when
asked, and under which name this house has its passkeys (the relying party's id). The checks are
those of that specification's section 7.2, "Verifying an Authentication Assertion".
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any
from urllib.parse import urlsplit

from cryptography.exceptions import InvalidSignature
from fido2.rpid import verify_rp_id
from fido2.utils import websafe_decode
from fido2.webauthn import AttestationObject, AuthenticatorData, CollectedClientData

from audit.ledger.canonical import canonical

SCHEME = 1
OLDEST = timedelta(minutes=10)
"""How long after it was asked for a signature may be given."""
CLOCKS = timedelta(minutes=1)
"""By how much the clocks of program and database may differ."""

Said = Mapping[str, str | int]
BOUND = (
    "signer", "name", "role", "meaning", "digest", "subject_type", "subject_id", "note",
)  # fmt: skip
"""What of a signature its statement binds."""


class PasskeyError(ValueError):
    """Why a passkey's signature does not hold, in words that follow on "because"."""


@dataclass(frozen=True, slots=True)
class Assertion:
    """What the passkey answered, whole; bytes in base64url without padding."""

    statement: str
    authenticator_data: str
    client_data: str
    signature: str


@dataclass(frozen=True, slots=True)
class Key:
    """A passkey as it was registered: whose, its attestation object, from when and until when."""

    owner: int
    attestation: str
    since: datetime
    until: datetime | None = None


def statement_of(said: Said, *, rp_id: str, nonce: str, asked: str) -> str:
    """The statement to sign. `said` has the fields of BOUND; `asked` is a time in ISO 8601."""
    about: dict[str, Any] = {
        "type": "signature",
        "scheme": SCHEME,
        "rp_id": rp_id,
        "nonce": nonce,
        "asked": asked,
    }
    return canonical(about | {name: said[name] for name in BOUND}).decode()


def challenge_of(statement: str) -> bytes:
    """What the passkey is given to sign: 32 bytes."""
    return sha256(statement.encode()).digest()


def require_proof(said: Said, at: datetime, assertion: Assertion, key: Key) -> None:
    """Raise PasskeyError unless this passkey gave this signature at about that time."""
    try:
        stated = json.loads(assertion.statement)
        _require_statement(stated, assertion.statement, said)
        _require_time(stated, at, key)
        if key.owner != said["signer"]:
            raise PasskeyError("the passkey is somebody else's")
        _require_answer(assertion, stated["rp_id"], key)
    except PasskeyError:
        raise
    except (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError):
        raise PasskeyError("what is kept of it can't be read") from None


def _require_statement(stated: dict[str, Any], text: str, said: Said) -> None:
    if canonical(stated).decode() != text:
        raise PasskeyError("its statement is not in canonical form")
    if (stated["type"], stated["scheme"]) != ("signature", SCHEME):
        raise PasskeyError("its statement is of another kind")
    for name in BOUND:
        if stated[name] != said[name]:
            words = name.replace("_", " ")
            raise PasskeyError(f"the passkey signed for another {words}")


def _require_time(stated: dict[str, object], at: datetime, key: Key) -> None:
    asked = datetime.fromisoformat(str(stated["asked"]))
    if not asked - CLOCKS <= at <= asked + OLDEST:
        raise PasskeyError("it was not given within ten minutes of being asked for")
    if at < key.since:
        raise PasskeyError("the passkey was not known yet")
    if key.until is not None and at > key.until:
        raise PasskeyError("the passkey was removed before")


def _require_answer(assertion: Assertion, rp_id: str, key: Key) -> None:
    client = CollectedClientData(websafe_decode(assertion.client_data))
    answer = AuthenticatorData(websafe_decode(assertion.authenticator_data))
    registered = AttestationObject(websafe_decode(key.attestation)).auth_data
    if client.type != CollectedClientData.TYPE.GET or client.cross_origin:
        raise PasskeyError("it is no answer to a question of ours")
    if client.challenge != challenge_of(assertion.statement):
        raise PasskeyError("the passkey answered another question")
    if not _at_home(rp_id, client.origin):
        raise PasskeyError("it was given on a page of another address")
    if not sha256(rp_id.encode()).digest() == answer.rp_id_hash == registered.rp_id_hash:
        raise PasskeyError("it is for another house")
    if not (answer.is_user_present() and answer.is_user_verified()):
        raise PasskeyError("the passkey did not ask who was there")
    if registered.credential_data is None:
        raise PasskeyError("nothing is known of the passkey")
    signed = websafe_decode(assertion.authenticator_data) + client.hash
    try:
        registered.credential_data.public_key.verify(signed, websafe_decode(assertion.signature))
    except InvalidSignature:
        raise PasskeyError("the passkey did not sign this") from None


def _at_home(rp_id: str, origin: str) -> bool:
    """The page's host is the relying party's id itself, by HTTPS or on the machine itself."""
    return verify_rp_id(rp_id, origin) and urlsplit(origin).hostname == rp_id


def counter_of(assertion: Assertion) -> int:
    """The passkey's own count of what it signed; 0 from those that keep none."""
    return int(AuthenticatorData(websafe_decode(assertion.authenticator_data)).counter)
