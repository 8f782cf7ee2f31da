"""Cosignatures over checkpoints: C2SP tlog-cosignature, timestamped Ed25519 (cosignature/v1).

The signed message is two lines, `cosignature/v1` and `time N`, and then the whole body of the
checkpoint, extension lines included. A witness states that, at that time (POSIX seconds), this was
the largest consistent tree of this origin it had seen; of extension lines it states nothing.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from audit.ledger.errors import LedgerError, base64_text, count
from audit.ledger.note import DASH, Signer, Verifier, read_note

COSIGNATURE = b"\x04"  # signature type byte of tlog-cosignature with Ed25519
LATEST = 2**63 - 1  # POSIX seconds


def message(text: str, at: int) -> str:
    """What is signed for a checkpoint's body at a time. Raises LedgerError for a time beyond it."""
    return f"cosignature/v1\ntime {count('time', at, most=LATEST)}\n{text}"


def time_of(signature: bytes) -> int | None:
    """The POSIX seconds in a cosignature's bytes; None if they can't be one."""
    at = int.from_bytes(signature[:8], "big")
    return at if len(signature) == 72 and at <= LATEST else None


@dataclass(frozen=True)
class WitnessKey(Verifier):
    """The public key that a witness's cosignatures are checked with."""

    kind: ClassVar[bytes] = COSIGNATURE

    def holds(self, text: str, signature: bytes) -> bool:
        """Whether `signature` (8 bytes of time and 64) is this witness's over the body."""
        at = time_of(signature)
        return at is not None and super().holds(message(text, at), signature[8:])


@dataclass(frozen=True, repr=False)
class Cosigner(Signer):
    """The secret key of a witness. Never use its seed to sign anything else."""

    kind: ClassVar[bytes] = COSIGNATURE

    @property
    def verifier(self) -> WitnessKey:
        """The public half. Raises LedgerError as Signer does."""
        return WitnessKey(self.name, self._public)

    def sign(self, text: str) -> str:
        """The cosignature line over a checkpoint's body, of this second."""
        return self.cosign(text, int(time.time()))

    def cosign(self, text: str, at: int) -> str:
        """The same for a given time in POSIX seconds. Raises LedgerError for one beyond 2^63-1."""
        signed = self._private.sign(message(text, at).encode())
        return self._line(at.to_bytes(8, "big") + signed)


@dataclass(frozen=True)
class Cosignature:
    """One cosignature that holds: whose, of which POSIX second, and its line with the newline."""

    witness: WitnessKey
    at: int
    line: str


def cosignatures(note: str, witnesses: Sequence[WitnessKey]) -> list[Cosignature]:
    """The cosignatures on a checkpoint by these witnesses, each one's latest; others are ignored.

    Raises LedgerError if the note can't be read or a line in a witness's name does not hold.
    """
    parsed, found = read_note(note), dict[WitnessKey, Cosignature]()
    for name, key_id, signature in parsed.signatures:
        for witness in witnesses:
            if (witness.name, witness.key_id) != (name, key_id):
                continue
            at = time_of(signature)
            if at is None or not witness.holds(parsed.text, signature):
                raise LedgerError("cosignature", name, "one that holds over this checkpoint")
            if witness not in found or found[witness].at < at:
                line = f"{DASH} {name} {base64_text(key_id + signature)}\n"
                found[witness] = Cosignature(witness, at, line)
    return list(found.values())
