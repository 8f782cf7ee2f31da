"""The gateway's own key: Ed25519, made here, never leaving the box (RFC 8032, 8037, 7638)."""

import base64
import hashlib
import os
from pathlib import Path

import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)

OWNER_ONLY = 0o600


class KeyFileError(Exception):
    """The key file is missing, is no Ed25519 key, or others may read it."""


def unpadded(raw: bytes) -> str:
    """Base64url without padding, as JWK and thumbprints have it (RFC 7515, section 2)."""
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def jwk(key: Ed25519PublicKey) -> dict[str, str]:
    """The public key as a JWK of the members that its thumbprint is made of (RFC 8037)."""
    raw = key.public_bytes(Encoding.Raw, PublicFormat.Raw)
    return {"crv": "Ed25519", "kty": "OKP", "x": unpadded(raw)}


def thumbprint(key: Ed25519PublicKey) -> str:
    """The key's identifier: SHA-256 over its canonical JWK (RFC 7638)."""
    return unpadded(hashlib.sha256(rfc8785.dumps(jwk(key))).digest())


def make(path: Path) -> Ed25519PrivateKey:
    """A new key in a file that only its owner can read; FileExistsError if there is one."""
    key = Ed25519PrivateKey.generate()
    pem = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
    with os.fdopen(os.open(path, flags, OWNER_ONLY), "wb") as file:
        file.write(pem)
        file.flush()
        os.fsync(file.fileno())
    sync_folder(path.parent)
    return key


def read(path: Path) -> Ed25519PrivateKey:
    """The key in a file. Raises KeyFileError, also where others may read the file."""
    try:
        if path.stat().st_mode & 0o077:
            raise KeyFileError(f"{path} can be read by others; `chmod 600` it, then rotate the key")
        key = load_pem_private_key(path.read_bytes(), password=None)
    except (OSError, ValueError) as problem:
        raise KeyFileError(f"{path}: {problem}") from problem
    if not isinstance(key, Ed25519PrivateKey):
        raise KeyFileError(f"{path} holds a key of another kind than Ed25519")
    return key


def sync_folder(folder: Path) -> None:
    """Make names in a folder last through a power cut."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
