"""Public keys of gateways: an Ed25519 JWK (RFC 8037) and its thumbprint (RFC 7638)."""

import base64
import binascii
import hashlib
import re
from collections.abc import Mapping

import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from audit.errors import Invalid

X = re.compile(r"[A-Za-z0-9_-]{43}")
ALLOWED = 'an Ed25519 key as a JWK: {"kty": "OKP", "crv": "Ed25519", "x": 32 bytes in base64url}'
# A key of small order makes one signature (R the neutral point, S = 0) fit one message in at most
# eight: RFC 8032 leaves refusing it to whoever relies on who signed.
NEUTRAL = bytes([1]) + bytes(31) + bytes(32)


def read_jwk(given: object) -> str:
    """The x of a JWK. Raises Invalid (public_key)."""
    jwk = given if isinstance(given, Mapping) else {}
    x = jwk.get("x")
    kind = (jwk.get("kty"), jwk.get("crv"))
    if kind != ("OKP", "Ed25519") or not isinstance(x, str) or not X.fullmatch(x):
        raise Invalid("public_key", "", ALLOWED)
    if encoded(decoded(x)) != x or _weak(key_of(x)):
        raise Invalid("public_key", x, ALLOWED)
    return x


def decoded(x: str) -> bytes:
    """The 32 bytes. Raises Invalid (public_key)."""
    try:
        return base64.urlsafe_b64decode(x + "=")
    except (binascii.Error, ValueError) as bad:
        raise Invalid("public_key", x, ALLOWED) from bad


def encoded(raw: bytes) -> str:
    """base64url without padding."""
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def jwk_of(x: str) -> dict[str, str]:
    """The required members of the JWK."""
    return {"crv": "Ed25519", "kty": "OKP", "x": x}


def thumbprint_of(x: str) -> str:
    """RFC 7638: SHA-256 over the required members, in lexicographic order and without space."""
    return encoded(hashlib.sha256(rfc8785.dumps(jwk_of(x))).digest())


def key_of(x: str) -> Ed25519PublicKey:
    """To verify with. Raises Invalid (public_key)."""
    try:
        return Ed25519PublicKey.from_public_bytes(decoded(x))
    except ValueError as bad:
        raise Invalid("public_key", x, ALLOWED) from bad


def _weak(key: Ed25519PublicKey) -> bool:
    return any(_fits_neutral(key, bytes([tried])) for tried in range(200))


def _fits_neutral(key: Ed25519PublicKey, message: bytes) -> bool:
    try:
        key.verify(NEUTRAL, message)
    except InvalidSignature:
        return False
    return True
