"""Asking a passkey for a signature, and taking its answer.

Two steps of one form. The action that is to be signed works out what the statement says, and ends
with OneMoreStep; the page asks the passkey and sends the form again with the answer. By then the
action says the same, or the passkey is asked anew for what it says now. One session is asked for
one signature at a time; each answer is taken once.
"""

import json
import secrets
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any

from django.core.cache import cache
from django.db.models import Max
from django.http import HttpRequest
from fido2.utils import websafe_encode

from audit.errors import OneMoreStep
from audit.ledger import passkeys
from people.passkeys.models import Assertion, KeyChange, KeyEvent

ASKED = "passkey_asked"  # in the session: the statement
TIMEOUT = 120_000  # milliseconds a browser waits
Options = dict[str, Any]


class Dialog:
    """What one request has of it: the statement asked for before, and the answer sent now."""

    def __init__(self, request: HttpRequest, response: str = "") -> None:
        self._request, self._response = request, response
        self.options: Options | None = None  # what the page has to ask the passkey, if anything

    @property
    def rp_id(self) -> str:
        """The name under which this house's passkeys are known, as the library has it."""
        return self._request.get_host().partition(":")[0]

    def reserved(self, subject_type: str) -> int | None:
        """The number that what is made by signing was promised when the passkey was asked."""
        stated = self._stated() if self._response else {}
        same = stated.get("subject_type") == subject_type
        return int(stated["subject_id"]) if same else None

    def take(self, said: passkeys.Said) -> Assertion:
        """The answer, not stored yet. Raises OneMoreStep after asking, PasskeyError."""
        stated = self._stated()
        if not self._response or any(stated.get(name) != said[name] for name in passkeys.BOUND):
            raise self._ask(said)
        asked: str = self._request.session.pop(ASKED)
        challenge = sha256(asked.encode()).hexdigest()
        if not cache.add(f"passkey-answer:{challenge}", 1, passkeys.OLDEST.total_seconds()):
            raise passkeys.PasskeyError("this answer was used before")
        return _read(self._response, asked, challenge, int(said["signer"]))

    def _stated(self) -> dict[str, Any]:
        stated: dict[str, Any] = json.loads(self._request.session.get(ASKED) or "{}")
        return stated

    def _ask(self, said: passkeys.Said) -> OneMoreStep:
        asked = datetime.now(UTC).isoformat(timespec="seconds")
        statement = passkeys.statement_of(
            said, rp_id=self.rp_id, nonce=secrets.token_hex(16), asked=asked
        )
        self._request.session[ASKED] = statement
        keys = KeyEvent.objects.usable_by(int(said["signer"])).values_list("credential", flat=True)
        self.options = {
            "challenge": websafe_encode(passkeys.challenge_of(statement)),
            "rpId": self.rp_id,
            "allowCredentials": [{"type": "public-key", "id": each} for each in keys],
            "userVerification": "required",
            "timeout": TIMEOUT,
        }
        return OneMoreStep("Your passkey is asked now.")


def _read(response: str, asked: str, challenge: str, signer: int) -> Assertion:
    try:
        sent = json.loads(response)
        parts = sent["response"]
        answer = passkeys.Assertion(
            asked, parts["authenticatorData"], parts["clientDataJSON"], parts["signature"]
        )
        counter = passkeys.counter_of(answer)
        credential = str(sent["rawId"])
    except (ValueError, KeyError, TypeError, AttributeError):
        raise passkeys.PasskeyError("what it answered can't be read") from None
    key = KeyEvent.objects.usable_by(signer).filter(credential=credential).last()
    if key is None:
        raise passkeys.PasskeyError("it is none of the passkeys you have here")
    return Assertion(
        key=key,
        statement=asked,
        challenge=challenge,
        authenticator_data=answer.authenticator_data,
        client_data=answer.client_data,
        signature=answer.signature,
        counter=counter,
    )


def require_counting_up(assertion: Assertion) -> None:
    """Raise PasskeyError where a passkey that counts has not counted on: it may be a copy."""
    same = Assertion.objects.filter(key=assertion.key, key__event=KeyChange.ADDED)
    last = same.aggregate(Max("counter"))["counter__max"] or 0
    if (assertion.counter or last) and assertion.counter <= last:
        raise passkeys.PasskeyError("its counter went back: there may be a copy of it")
