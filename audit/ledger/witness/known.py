"""A witness as a history knows it: the key its cosignatures are checked with, and its address."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlsplit

from audit.ledger.errors import LedgerError
from audit.ledger.witness.cosignature import WitnessKey


@dataclass(frozen=True)
class KnownWitness:
    """Key and submission prefix (http or https, without the last slash)."""

    key: WitnessKey
    url: str

    @property
    def label(self) -> str:
        """Name and key id, as pages show it: two keys of one name are two witnesses."""
        return f"{self.key.name}+{self.key.key_id.hex()}"

    @classmethod
    def read(cls, text: str) -> KnownWitness:
        """Parse `KEY URL`. Raises LedgerError."""
        key, _, url = text.strip().partition(" ")
        try:
            parts = urlsplit(url.strip())
            sound = parts.scheme in {"http", "https"} and parts.hostname and parts.port != 0
        except ValueError:
            sound = False
        if not sound or parts.query or parts.fragment or "@" in parts.netloc:
            raise LedgerError("witness", text, "name+id+base64 http://host:port")
        return cls(WitnessKey.read(key), url.strip().rstrip("/"))


def known_witnesses(lines: list[str], needed: int | None) -> tuple[list[KnownWitness], int]:
    """The witnesses of a deployment, and how many must have seen a state (all, if None).

    Raises LedgerError for a line that is none, a key given twice, or more than there are.
    """
    known = [KnownWitness.read(line) for line in lines]
    if len({one.key.public for one in known}) < len(known):
        raise LedgerError("witnesses", lines, "each key once")
    if needed is None:
        return known, len(known)
    if not (1 if known else 0) <= needed <= len(known):
        raise LedgerError("witnesses needed", needed, f"from 1 to the {len(known)} there are")
    return known, needed
