"""Whether a request is signed as it must be (RFC 9421, Ed25519, RFC 9530 for its body)."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from django.core.cache import cache
from django.http import HttpRequest
from http_message_signatures import (
    HTTPMessageVerifier,
    HTTPSignatureKeyResolver,
    InvalidSignature,
    algorithms,
)
from rest_framework import exceptions

from audit.errors import shown
from web.problems import OfKind

LABEL, NEW_LABEL = "gateway", "new"
TAG = "portaledger-gateway"
COVERED = ("@method", "@authority", "@path", "@query")
WITH_BODY = ("content-digest", "content-type")
CLOCK = timedelta(seconds=300)
NONCE_LENGTH = range(16, 65)  # characters
LARGEST_HEADER = 4_000  # characters of either signature header


class NotSigned(OfKind, exceptions.AuthenticationFailed):
    """The signature is missing or does not fit the request (401)."""

    slug = "signature"


class WrongClock(NotSigned):
    """Signed too long ago, or ahead of time."""

    slug = "clock"


class Replayed(NotSigned):
    """Its nonce was seen before."""

    slug = "replayed"


class KeyRevoked(NotSigned):
    """What it was signed with was revoked or replaced."""

    slug = "revoked"


@dataclass(frozen=True, slots=True)
class Message:
    """A request as the library reads one."""

    method: str
    url: str
    headers: Mapping[str, str]

    @classmethod
    def of(cls, request: HttpRequest) -> "Message":
        """From what came in, the path and query as they were sent."""
        url = f"{request.scheme}://{request.get_host()}{request.get_full_path()}"
        return cls(request.method or "", url, dict(request.headers.items()))


@dataclass(frozen=True, slots=True)
class Signed:
    """What a valid signature says."""

    keyid: str
    created: datetime
    nonce: str


KeyOf = Callable[[str], Ed25519PublicKey | None]


class _Keys(HTTPSignatureKeyResolver):
    def __init__(self, key_of: KeyOf) -> None:
        self.key_of = key_of

    def resolve_public_key(self, key_id: str) -> Any:  # noqa: ANN401 - as the library has it
        return self.key_of(key_id)


class _Verifier(HTTPMessageVerifier):
    """Says apart what a wrong clock is; takes no older nor newer signature than CLOCK."""

    max_clock_skew = CLOCK

    def validate_created_and_expires(self, sig_input: Any, max_age: Any = None) -> None:  # noqa: ANN401
        created = sig_input.params.get("created")
        if type(created) is not int:
            raise InvalidSignature("it does not say when it was made (created)")
        if abs(datetime.now(UTC).timestamp() - created) > CLOCK.total_seconds():
            raise WrongClock(
                f"Signed at {created} by your clock: more than {CLOCK.seconds} s off ours."
            )
        super().validate_created_and_expires(sig_input)  # type: ignore[no-untyped-call]


def signed(message: Message, body: bytes, key_of: KeyOf, label: str = LABEL) -> Signed:
    """What the signature says of who signed, when. Raises NotSigned, WrongClock.

    It covers COVERED, and WITH_BODY where there is a body, whose bytes are as they were sent.
    """
    needed = (*COVERED, *WITH_BODY) if body else COVERED
    _refuse_long(message)
    verifier = _Verifier(signature_algorithm=algorithms.ED25519, key_resolver=_Keys(key_of))
    try:
        (result,) = verifier.verify(
            message, max_age=None, expect_tag=TAG, expect_label=label,
            require_components=needed, body=body,
        )  # fmt: skip
    except (InvalidSignature, ValueError) as bad:
        why = shown(str(bad)) or "it does not fit the request"
        raise NotSigned(f"The signature “{label}” can't be used: {why}.") from bad
    told = result.parameters
    nonce = str(told.get("nonce") or "")
    if len(nonce) not in NONCE_LENGTH:
        raise NotSigned("The signature needs a nonce of 16 to 64 characters.")
    return Signed(str(told["keyid"]), datetime.fromtimestamp(int(told["created"]), UTC), nonce)


def _refuse_long(message: Message) -> None:
    """Small headers only: reading them is work done for whoever asks."""
    for name in ("Signature", "Signature-Input"):
        if len(message.headers.get(name, "")) > LARGEST_HEADER:
            raise NotSigned(f"{name} is longer than {LARGEST_HEADER} characters.")


def spend(told: Signed) -> None:
    """A nonce is good once for a key, for as long as its signature would be. Raises Replayed.

    Kept in the lasting cache, apart from any transaction: what was refused stays spent.
    """
    lasts = 2 * CLOCK.total_seconds() + 60
    if not cache.add(f"gateway_nonce:{told.keyid}:{told.nonce}", 1, lasts):
        raise Replayed("A request with this nonce came before: sign it anew with another.")
