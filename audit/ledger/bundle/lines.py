"""The lines of a bundle that are not entries: made and read here, nowhere else."""

from __future__ import annotations

import json
from base64 import b64encode
from dataclasses import dataclass
from typing import Any

from audit.ledger.errors import LedgerError, base64_bytes, base64_text, count
from audit.ledger.note import Verifier

FORMAT = "portaledger-history-1"


@dataclass(frozen=True)
class Header:
    """Whose history it is, the keys it says sign it, and whether every checkpoint is in it that
    there was where it was made."""

    origin: str
    keys: tuple[Verifier, ...]
    every: bool = False


@dataclass(frozen=True)
class Fingerprints:
    """Leaf hashes of the entries just listed; the first is of entry `first` (from 0)."""

    first: int
    joined: bytes

    @property
    def hashes(self) -> list[bytes]:
        """The hashes one by one."""
        return apart(self.joined)


@dataclass(frozen=True)
class Archived:
    """Leaf hashes of entries from `first` (from 0) that are in an archive, by the number of the
    archive's record."""

    archive: int
    first: int
    joined: bytes

    @property
    def hashes(self) -> list[bytes]:
        """The hashes one by one."""
        return apart(self.joined)


@dataclass(frozen=True)
class Gap:
    """`count` entries from `first` left out, and the hashes of the subtrees that tile them."""

    first: int
    count: int
    hashes: list[bytes]


@dataclass(frozen=True)
class Mark:
    """A checkpoint note, unchecked, and the frontier it claims."""

    note: str
    frontier: list[bytes]


@dataclass(frozen=True)
class End:
    """Size reached, and the numbers of entries and checkpoints listed."""

    size: int
    entries: int
    checkpoints: int


BundleLine = Header | Fingerprints | Archived | Gap | Mark | End


def write(line: BundleLine) -> bytes:
    """One line of a bundle with its newline."""
    if isinstance(line, Fingerprints):  # what follows would write the same, slower
        return b'["fingerprints",%d,"%s"]\n' % (line.first, b64encode(line.joined))
    return json.dumps(_row(line), separators=(",", ":"), ensure_ascii=False).encode() + b"\n"


def _row(line: BundleLine) -> list[Any]:
    match line:
        case Header():
            keys = [key.text for key in line.keys]
            every = {"checkpoints": "every"} if line.every else {}
            return ["history", {**every, "format": FORMAT, "keys": keys, "origin": line.origin}]
        case Fingerprints():
            return ["fingerprints", line.first, base64_text(line.joined)]
        case Archived():
            return ["archived", line.archive, line.first, base64_text(line.joined)]
        case Gap():
            return ["gap", line.first, line.count, base64_text(b"".join(line.hashes))]
        case Mark():
            return ["checkpoint", line.note, base64_text(b"".join(line.frontier))]
        case End():
            return ["end", line.size, line.entries, line.checkpoints]


def read(raw: bytes) -> BundleLine:
    """Parse a line that is not an entry, written exactly as `write` would, so that no byte of a
    bundle can change unnoticed. Raises LedgerError naming what is wrong with it."""
    line = _parsed(raw)
    if write(line) != raw:
        raise LedgerError("line", raw, "the line as it was exported, byte for byte")
    return line


def _parsed(raw: bytes) -> BundleLine:
    try:
        row = json.loads(raw)
    except (ValueError, RecursionError):
        raise LedgerError("line", raw, "JSON") from None
    match row:
        case ["history", dict(about)]:
            return _header(about)
        case ["fingerprints", first, str(hashes)]:
            return Fingerprints(count("first", first), _whole(hashes))
        case ["archived", archive, first, str(hashes)]:
            return Archived(count("archive", archive), count("first", first), _whole(hashes))
        case ["gap", first, width, str(hashes)]:
            return Gap(count("first", first), count("count", width, least=1), apart(_whole(hashes)))
        case ["checkpoint", str(note), str(frontier)]:
            return Mark(note, apart(_whole(frontier)))
        case ["end", size, entries, marks]:
            return End(count("size", size), count("entries", entries), count("marks", marks))
    raise LedgerError("line", raw, "a line of this format")


def _header(about: dict[str, Any]) -> Header:
    match about:
        case {"format": str(name), "keys": list(keys), "origin": str(origin)} if name == FORMAT:
            if all(isinstance(key, str) for key in keys):
                every = about.get("checkpoints") == "every"
                return Header(origin, tuple(Verifier.read(key) for key in keys), every)
    raise LedgerError("history", about, f"format {FORMAT} with keys and origin")


def apart(joined: bytes) -> list[bytes]:
    """Hashes of 32 bytes from their joined bytes."""
    return [joined[at : at + 32] for at in range(0, len(joined), 32)]


def _whole(text: str) -> bytes:
    raw = base64_bytes("hashes", text)
    if len(raw) % 32:
        raise LedgerError("hashes", len(raw), "a multiple of 32 bytes")
    return raw
