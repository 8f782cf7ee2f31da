"""A history as a witness meets it: leaves, signed checkpoints, offers."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass, field

from audit.ledger.note import Signer, sign_note
from audit.ledger.witness.cosignature import Cosigner
from tests.audit.ledger.witness.independent import grown, hashed, request, top

ORIGIN = "bar.example/history"
KEY = Signer(ORIGIN, b"\x07" * 32)
OTHER = Signer(ORIGIN, b"\x08" * 32)
WITNESS = Cosigner("laptop.example/witness", b"\x21" * 32)
SECOND = Cosigner("office.example/witness", b"\x22" * 32)


@dataclass
class Log:
    """Leaves from entries that begin with `mark`: two marks are two histories of one origin."""

    mark: str = "entry"
    key: Signer = KEY
    lines: Sequence[str] = ()  # extension lines of every checkpoint
    origin: str = ORIGIN
    leaves: list[bytes] = field(default_factory=list)

    def up_to(self, size: int) -> list[bytes]:
        for number in range(len(self.leaves), size):
            self.leaves.append(hashed(f"{self.mark} {number}".encode()))
        return self.leaves[:size]

    def body(self, size: int, root: bytes | None = None) -> str:
        shown = b64encode(root or top(self.up_to(size))).decode()
        return "\n".join([self.origin, str(size), shown, *self.lines]) + "\n"

    def checkpoint(self, size: int, root: bytes | None = None) -> str:
        return sign_note(self.body(size, root), [self.key])

    def offer(self, old: int, size: int) -> bytes:
        proof = grown(old, self.up_to(size)) if old <= size else []
        return request(old, proof, self.checkpoint(size))
