"""C2SP signed notes (c2sp.org/signed-note) with Ed25519 (RFC 8032, by the cryptography package).

A note is text and, after a blank line, one line per signature. A verifier ignores keys it does
not know and rejects the note if a key it knows does not hold.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import ClassVar, Self

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from audit.ledger.errors import LedgerError, base64_bytes

ED25519 = b"\x01"  # signature type byte of signed-note
DASH = "\u2014"
MOST_BYTES = 1 << 20
MOST_SIGNATURES = 64  # the specification asks for 16 at least


@dataclass(frozen=True)
class Verifier:
    """A key's name and its 32 public bytes. Raises LedgerError for an unusable name or key."""

    name: str
    public: bytes
    kind: ClassVar[bytes] = ED25519

    def __post_init__(self) -> None:
        if not self.name or "+" in self.name or any(map(_unfit, self.name)):
            raise LedgerError("key name", self.name, "text without spaces, plus or control signs")
        if len(self.public) != 32:
            raise LedgerError("public key", self.public, "32 bytes of Ed25519")

    @property
    def key_id(self) -> bytes:
        """SHA-256(name || 0x0A || kind || public key)[:4]."""
        return sha256(self.name.encode() + b"\n" + self.kind + self.public).digest()[:4]

    @property
    def text(self) -> str:
        """The key as a line to write down: name+id+base64."""
        encoded = b64encode(self.kind + self.public).decode()
        return f"{self.name}+{self.key_id.hex()}+{encoded}"

    @classmethod
    def read(cls, text: str) -> Self:
        """Parse `text` as written by the property of that name. Raises LedgerError."""
        name, key_id, key = _parts(text, 3)
        if key[:1] != cls.kind:
            raise LedgerError("key", text, f"an Ed25519 verifier key of kind {cls.kind[0]}")
        made = cls(name, key[1:])
        if made.key_id.hex() != key_id:
            raise LedgerError("key", text, "a key whose id fits its name and bytes")
        return made

    def holds(self, text: str, signature: bytes) -> bool:
        """Whether `signature` (64 bytes) is this key's over the text."""
        try:
            Ed25519PublicKey.from_public_bytes(self.public).verify(signature, text.encode())
        except (InvalidSignature, ValueError):
            return False
        return True


@dataclass(frozen=True, repr=False)
class Signer:
    """A key's name and its 32-byte Ed25519 seed; keep it outside the database."""

    name: str
    seed: bytes
    kind: ClassVar[bytes] = ED25519

    @classmethod
    def new(cls, name: str) -> Self:
        """Make a key from the system's randomness. Raises LedgerError for an unusable name."""
        made = cls(name, Ed25519PrivateKey.generate().private_bytes_raw())
        Verifier(name, made.verifier.public)  # an unusable name fails here, not at the first seal
        return made

    @property
    def verifier(self) -> Verifier:
        """The public half. Raises LedgerError if the seed is not 32 bytes or the name unusable."""
        return Verifier(self.name, self._public)

    @property
    def _public(self) -> bytes:
        if len(self.seed) != 32:
            raise LedgerError("seed", len(self.seed), "32 bytes")
        return self._private.public_key().public_bytes_raw()

    @property
    def _private(self) -> Ed25519PrivateKey:
        return Ed25519PrivateKey.from_private_bytes(self.seed)

    @property
    def secret_text(self) -> str:
        """The key as a line for a secrets file: PRIVATE+KEY+name+id+base64."""
        encoded = b64encode(self.kind + self.seed).decode()
        return f"PRIVATE+KEY+{self.name}+{self.verifier.key_id.hex()}+{encoded}"

    @classmethod
    def read(cls, secret_text: str) -> Self:
        """Parse a line of a secrets file. Raises LedgerError, which never repeats the secret."""
        try:
            name, key_id, key = _parts(secret_text.removeprefix("PRIVATE+KEY+"), 3)
            made = cls(name, key[1:])
            sound = key[:1] == cls.kind and made.verifier.key_id.hex() == key_id
        except LedgerError:
            sound = False
        if not sound or not secret_text.startswith("PRIVATE+KEY+"):
            raise LedgerError("secret key", "(not shown)", "PRIVATE+KEY+name+id+base64")
        return made

    def sign(self, text: str) -> str:
        """The signature line over `text`, with its newline."""
        return self._line(self._private.sign(text.encode()))

    def _line(self, signature: bytes) -> str:
        signed = b64encode(self.verifier.key_id + signature).decode()
        return f"{DASH} {self.name} {signed}\n"


@dataclass(frozen=True)
class Note:
    """A parsed note: its text and (key name, key id, signature bytes) per line. Nothing checked."""

    text: str
    signatures: tuple[tuple[str, bytes, bytes], ...]


def sign_note(text: str, signers: Sequence[Signer]) -> str:
    """Text signed by each signer. Raises LedgerError unless the text ends in a newline, cleanly."""
    if not signers:
        raise LedgerError("signers", signers, "one signer or more")
    _clean(text)
    note = text + "\n" + "".join(signer.sign(text) for signer in signers)
    read_note(note)
    return note


def read_note(note: str) -> Note:
    """Split a note into text and signatures, checking the form only. Raises LedgerError."""
    _clean(note)
    text, blank, lines = note.rpartition("\n\n")
    if not blank or not lines.endswith("\n"):
        raise LedgerError("note", note, "text, a blank line and signature lines")
    rows = lines[:-1].split("\n")
    if len(rows) > MOST_SIGNATURES:
        raise LedgerError("note", len(rows), f"up to {MOST_SIGNATURES} signatures")
    return Note(text + "\n", tuple(_signature(row) for row in rows))


def open_note(note: str, keys: Sequence[Verifier]) -> tuple[str, list[Verifier]]:
    """The note's text and the known keys that signed it.

    Raises LedgerError if no known key signed it or one that did does not hold.
    """
    parsed, signed = read_note(note), list[Verifier]()
    for name, key_id, signature in parsed.signatures:
        for key in keys:
            if (key.name, key.key_id) == (name, key_id) and key not in signed:
                if not key.holds(parsed.text, signature):
                    raise LedgerError("signature", name, "one that holds over this text")
                signed.append(key)
    if not signed:
        raise LedgerError("note", note, "a signature by a known key")
    return parsed.text, signed


def _signature(row: str) -> tuple[str, bytes, bytes]:
    words = row.split(" ")
    if len(words) != 3 or words[0] != DASH or not words[1] or "+" in words[1]:
        raise LedgerError("signature line", row, f"{DASH} name base64")
    signed = base64_bytes("signature", words[2])
    if len(signed) < 5:
        raise LedgerError("signature", row, "a key id and a signature")
    return words[1], signed[:4], signed[4:]


def _clean(note: str) -> None:
    try:
        size = len(note.encode())
    except UnicodeEncodeError:
        raise LedgerError("note", note, "text without lone surrogates") from None
    if size > MOST_BYTES or any(sign < " " and sign != "\n" for sign in note):
        raise LedgerError("note", note, "text of up to 1 MiB, no control signs but newline")


def _parts(text: str, wanted: int) -> tuple[str, str, bytes]:
    words = text.split("+", wanted - 1)
    if len(words) != wanted:
        raise LedgerError("key", text, "name+id+base64")
    return words[0], words[1], base64_bytes("key", words[2])


def _unfit(sign: str) -> bool:
    return sign.isspace() or not sign.isprintable()
