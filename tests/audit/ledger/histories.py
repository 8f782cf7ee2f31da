"""A small sealed history for tests: entries, leaf hashes, stored nodes, checkpoints, key."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from audit.ledger.bundle.write import Leaf, bundle_lines
from audit.ledger.canonical import canonical
from audit.ledger.checkpoint import Checkpoint
from audit.ledger.merkle import Coordinate, Frontier, leaf_hash
from audit.ledger.note import Signer

ORIGIN = "bar.example/history"
KEY = Signer(ORIGIN, b"\x07" * 32)


@dataclass
class History:
    """Entries sealed in batches, a checkpoint after each."""

    payloads: list[bytes] = field(default_factory=list)
    hashes: list[bytes] = field(default_factory=list)
    nodes: dict[Coordinate, bytes] = field(default_factory=dict)
    checkpoints: list[str] = field(default_factory=list)
    signers: Sequence[Signer] = (KEY,)

    def seal(self, batch: int, altered: int = 0) -> None:
        """Seal so many more entries; the one of that number is another than it was."""
        start = len(self.hashes)
        new = [entry(start + at + 1) for at in range(batch)]
        if start < altered <= start + batch:
            new[altered - start - 1] = entry(altered + 7000)
        self.take(new)

    def take(self, new: list[bytes]) -> None:
        """Seal these."""
        self.payloads += new
        self.hashes += [leaf_hash(one) for one in new]
        frontier = Frontier()
        for node in frontier.append(self.hashes):
            self.nodes[Coordinate(node.level, node.offset)] = node.hash
        self.nodes |= {Coordinate(0, at): one for at, one in enumerate(self.hashes)}
        state = Checkpoint(ORIGIN, len(self.hashes), frontier.root())
        self.checkpoints.append(state.signed(self.signers))

    def read(self, places: Sequence[Coordinate]) -> Mapping[Coordinate, bytes]:
        """Stored nodes, as a database would give them."""
        return {at: self.nodes[at] for at in places if at in self.nodes}

    def bundle(self, only: Sequence[int] | None = None) -> list[bytes]:
        """The lines of a bundle of all entries, or only those (from 0)."""
        chosen = range(len(self.hashes)) if only is None else only
        leaves = [Leaf(at, self.hashes[at], self.payloads[at]) for at in chosen]
        return list(
            bundle_lines(
                origin=ORIGIN,
                keys=[KEY.verifier, *(s.verifier for s in self.signers if s is not KEY)],
                leaves=leaves,
                checkpoints=self.checkpoints,
                nodes=self.read,
            )
        )


def entry(number: int) -> bytes:
    """Canonical bytes of entry no. `number`."""
    return canonical({
        "id": 4000 + number,
        "at": f"2026-05-04T10:{number // 60 % 60:02}:{number % 60:02}Z",
        "actor": "Head roaster",
        "action": "version.approved",
        "changes": {"brew_temperature": ["93.0", f"{90 + number % 7}.5"]},
    })  # fmt: skip


def sealed(*batches: int, signers: Sequence[Signer] = (KEY,)) -> History:
    """A history sealed in these batches."""
    history = History(signers=signers)
    for batch in batches:
        history.seal(batch)
    return history
