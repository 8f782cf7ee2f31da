"""What goes over the line: C2SP tlog-witness, `POST <prefix>/add-checkpoint`."""

from __future__ import annotations

from dataclasses import dataclass

from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.errors import LedgerError, base64_bytes, base64_text, count, decimal_int, hash32

PATH = "/add-checkpoint"
PLAIN = "text/plain; charset=utf-8"
SIZE = "text/x.tlog.size"
MOST_PROOF = 63  # hashes; a tree of 2^63 entries needs no more
MOST_BYTES = 1 << 16  # of a request or an answer


@dataclass(frozen=True)
class Offer:
    """A checkpoint offered to a witness, with the proof that it extends the `old` first entries."""

    old: int
    proof: tuple[bytes, ...]
    checkpoint: str

    @property
    def text(self) -> str:
        """The request's body. Raises LedgerError for values that can't be sent."""
        if len(self.proof) > MOST_PROOF:
            raise LedgerError("proof", len(self.proof), f"up to {MOST_PROOF} hashes")
        rows = [f"old {count('old size', self.old)}"]
        rows += [base64_text(hash32("proof", step)) for step in self.proof]
        return "\n".join([*rows, "", self.checkpoint])


def read_offer(text: str) -> Offer:
    """Parse a request's body; no signature is checked. Raises LedgerError."""
    head, blank, checkpoint = text.partition("\n\n")
    first, *steps = head.split("\n")
    if not blank or not first.startswith("old "):
        raise LedgerError("offer", text, "an old size, proof lines, a blank line, a checkpoint")
    if len(steps) > MOST_PROOF:
        raise LedgerError("proof", len(steps), f"up to {MOST_PROOF} hashes")
    proof = tuple(hash32("proof", base64_bytes("proof", step)) for step in steps)
    read_checkpoint(checkpoint)
    return Offer(decimal_int("old size", first.removeprefix("old ")), proof, checkpoint)


@dataclass(frozen=True)
class Answer:
    """A witness's answer: HTTP status, body, and the body's type."""

    status: int
    body: str
    kind: str = PLAIN

    @property
    def size(self) -> int | None:
        """Of a 409, how many entries the witness stands at; None if it says no size."""
        if self.status != 409 or self.kind != SIZE or not self.body.endswith("\n"):
            return None
        try:
            return decimal_int("size", self.body[:-1])
        except LedgerError:
            return None


def conflict(size: int) -> Answer:
    """The answer to an offer that does not start from where the witness stands."""
    return Answer(409, f"{size}\n", SIZE)
