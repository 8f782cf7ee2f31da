"""Public keys as JWK, read."""

import base64
from collections.abc import Mapping

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey


def raw(text: str) -> bytes:
    """Base64url without padding, read."""
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def key_of(jwk: Mapping[str, str]) -> Ed25519PublicKey:
    """The key of a JWK."""
    return Ed25519PublicKey.from_public_bytes(raw(jwk["x"]))


def private_of(jwk: Mapping[str, str]) -> Ed25519PrivateKey:
    """The private key of a JWK that has it."""
    return Ed25519PrivateKey.from_private_bytes(raw(jwk["d"]))
