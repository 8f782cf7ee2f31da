"""Checkpoints of the history (C2SP tlog-checkpoint), receipts of one entry (C2SP tlog-proof)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from audit.ledger.errors import LedgerError, base64_bytes, base64_text, count, decimal_int, hash32
from audit.ledger.note import Signer, read_note, sign_note
from audit.ledger.proof import includes
from audit.ledger.stamp import Stamp, read_stamp

PROOF_HEADER = "c2sp.org/tlog-proof@v1"


@dataclass(frozen=True)
class Checkpoint:
    """The state of a history: whose (`origin`), how many entries (`size`) and the tree's root;
    and what is said of time, None in older ones."""

    origin: str
    size: int
    root: bytes
    stamp: Stamp | None = None

    @property
    def body(self) -> str:
        """The note's text: origin, size, base64 root, extension lines. Raises LedgerError."""
        if not self.origin or "\n" in self.origin:
            raise LedgerError("origin", self.origin, "one line of text, not empty")
        count("size", self.size)
        lines = [self.origin, str(self.size), base64_text(hash32("root", self.root))]
        return "".join(f"{line}\n" for line in lines + (self.stamp.lines if self.stamp else []))

    def signed(self, signers: Sequence[Signer]) -> str:
        """The checkpoint as a note; two signers hand over from an old key to a new one."""
        return sign_note(self.body, signers)


def read_body(text: str) -> Checkpoint:
    """Parse a checkpoint's text; extension lines of others are ignored. Raises LedgerError."""
    lines = text.split("\n")
    if len(lines) < 4 or lines[-1] or not all(lines[:-1]):
        raise LedgerError("checkpoint", text, "origin, size and root, one a line")
    root = hash32("root", base64_bytes("root", lines[2]))
    return Checkpoint(lines[0], decimal_int("size", lines[1]), root, read_stamp(lines[3:-1]))


def read_checkpoint(note: str) -> Checkpoint:
    """Parse a signed checkpoint WITHOUT checking its signatures. Raises LedgerError."""
    return read_body(read_note(note).text)


@dataclass(frozen=True)
class Receipt:
    """One entry's place: index from 0, inclusion proof, and the signed checkpoint it leads to."""

    index: int
    proof: tuple[bytes, ...]
    checkpoint: str

    @property
    def text(self) -> str:
        """The receipt as c2sp.org/tlog-proof@v1. Raises LedgerError."""
        rows = [PROOF_HEADER, f"index {count('index', self.index)}"]
        rows += [base64_text(hash32("proof", step)) for step in self.proof]
        return "\n".join([*rows, "", self.checkpoint])

    def covers(self, leaf: bytes) -> bool:
        """Whether the proof leads from this leaf hash to the checkpoint's root.

        Signatures are the caller's to check (`note.open_note`). Raises LedgerError.
        """
        state = read_checkpoint(self.checkpoint)
        return includes(
            leaf=leaf, index=self.index, size=state.size, root=state.root, proof=self.proof
        )


def read_receipt(text: str) -> Receipt:
    """Parse a tlog-proof; an `extra` line is allowed and ignored. Raises LedgerError."""
    head, blank, checkpoint = text.partition("\n\n")
    lines = head.split("\n")
    if not blank or lines[0] != PROOF_HEADER:
        raise LedgerError("receipt", text, f"a text that starts with {PROOF_HEADER}")
    rows = lines[2:] if lines[1:] and lines[1].startswith("extra ") else lines[1:]
    if not rows or not rows[0].startswith("index "):
        raise LedgerError("receipt", text, "an index line")
    index = decimal_int("index", rows[0].removeprefix("index "))
    proof = tuple(hash32("proof", base64_bytes("proof", row)) for row in rows[1:])
    read_checkpoint(checkpoint)
    return Receipt(index, proof, checkpoint)
