"""What a history asks of witnesses: the policy that owners signed, as its own entries have it.

A server's settings say how many witnesses are needed as well, and nobody signed those. So the check
takes the rule from the sealed entries that stand under a signature: whoever wants fewer has to sign
for that, and it shows. A change by SQL without one counts for nothing. Entries that were archived,
or are of other sites, are not in a bundle: there the reader has to ask.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from audit.ledger.canonical import read_object
from audit.ledger.errors import LedgerError
from audit.ledger.witness.cosignature import WitnessKey

TABLE, KEYS, NEEDED = "people_policy", "witnesses", "witnesses_needed"
_NEAR = f'"table_name":"{TABLE}"'.encode()


@dataclass(frozen=True, slots=True)
class Rule:
    """So many of these witnesses have to see a state."""

    needed: int
    witnesses: tuple[WitnessKey, ...]

    @classmethod
    def read(cls, keys: str, needed: int) -> Rule | None:
        """Of keys a line each; None for none. Raises LedgerError unless so many can be asked."""
        if not keys:
            return None
        made = tuple(WitnessKey.read(line) for line in keys.split("\n"))
        if len({key.public for key in made}) < len(made):
            raise LedgerError("witnesses", keys, "each key once")
        if not 1 <= needed <= len(made):
            raise LedgerError("witnesses needed", needed, f"from 1 to the {len(made)} named")
        return cls(needed, made)


class Asked:
    """The newest rule met in one pass over entries."""

    def __init__(self) -> None:
        self._newest: dict[str, Any] = {}

    def look(self, entries: Sequence[bytes]) -> None:
        """Take note of what entries (lines) say of the policy."""
        for line in entries:
            if _NEAR in line:
                self._take(line)

    def _take(self, line: bytes) -> None:
        try:
            entry = read_object(line)
            if entry["table_name"] == TABLE and entry["signature_id"] is not None:
                changes = entry["changes"]
                self._newest |= {
                    name: changes[name][1] for name in (KEYS, NEEDED) if name in changes
                }
        except (LedgerError, KeyError, TypeError, IndexError):
            return  # an entry that can't be read: told by the check of entries

    def rule(self) -> Rule | None:
        """Raises LedgerError for one that can't be read."""
        try:
            needed = int(self._newest.get(NEEDED) or 0)
        except (TypeError, ValueError) as error:
            raise LedgerError("witnesses needed", self._newest[NEEDED], "a number") from error
        return Rule.read(str(self._newest.get(KEYS) or ""), needed)
