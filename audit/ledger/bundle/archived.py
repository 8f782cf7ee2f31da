"""Entries that were moved to archives: what the history itself says of that, and the files.

Taking entries out of the database looks like deleting them. So an archive has a record, which is
an entry of the history like any other: what was archived when, the digest of the leaf hashes, the
file and its SHA-256. Only with a record that is sealed are hashes without entries believed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from audit.ledger.bundle.lines import Archived, Fingerprints, read
from audit.ledger.bundle.report import Finding, Kind, Report, numbers, plain
from audit.ledger.canonical import read_object
from audit.ledger.errors import LedgerError
from audit.ledger.merkle import leaf_hash

TABLE = "audit_archive"
ACTION = "history.archived"
_SIGN = f'"table_name":"{TABLE}"'.encode()
_FINGERPRINTS = b'["fingerprints",'


@dataclass
class Claim:
    """Leaf hashes listed as those of one archive: how many, from where to where (from 0)."""

    first: int
    last: int = 0
    entries: int = 0
    digest: hashlib._Hash = field(default_factory=hashlib.sha256)

    def add(self, line: Archived) -> None:
        """One more line."""
        width = len(line.joined) // 32
        self.entries += width
        self.last = line.first + width - 1
        self.digest.update(line.joined)

    @property
    def words(self) -> str:
        """'Entries no. 1 to 800', or fewer of those where others lie between."""
        if self.entries == self.last - self.first + 1:
            return numbers(self.first + 1, self.last + 1)
        return f"{self.entries:,} of the entries no. {self.first + 1:,} to {self.last + 1:,}"


@dataclass(frozen=True)
class Record:
    """What a sealed entry says of an archive. `leaves` and `sha256` are hexadecimal."""

    number: int
    file: str
    sha256: str
    size: int
    entries: int
    first_leaf: int
    last_leaf: int
    leaves: str

    def fits(self, claim: Claim) -> bool:
        """Whether it speaks of exactly these leaf hashes."""
        here = (claim.entries, claim.first, claim.last, claim.digest.hexdigest())
        return here == (self.entries, self.first_leaf, self.last_leaf, self.leaves)


def record_of(payload: bytes) -> Record | None:
    """The record in an entry's bytes; None if it is no record of an archive."""
    try:
        entry = read_object(payload)
        kind = (entry["table_name"], entry["operation"], entry["action"])
        if kind != (TABLE, "created", ACTION):
            return None
        columns = {name: str(pair[1]) for name, pair in entry["changes"].items()}
        return Record(
            int(entry["row_id"]), columns["file"], columns["sha256"], int(columns["size"]),
            int(columns["entries"]), int(columns["first_leaf"]), int(columns["last_leaf"]),
            columns["leaves"],
        )  # fmt: skip
    except (LedgerError, KeyError, ValueError, TypeError, IndexError, AttributeError):
        return None


class Copy:
    """The lines of an archive as given, digested while they are checked."""

    def __init__(self, name: str, lines: Iterable[bytes]) -> None:
        self.name, self.size, self.report = name, 0, Report()
        self._lines, self._file, self._leaves = lines, hashlib.sha256(), hashlib.sha256()

    def __iter__(self) -> Iterator[bytes]:
        """The lines; once."""
        for line in self._lines:
            self.size += len(line)
            self._file.update(line)
            if line.startswith(_FINGERPRINTS):
                self._leaves.update(_joined(line))
            yield line

    @property
    def sha256(self) -> str:
        """Of the whole file."""
        return self._file.hexdigest()

    @property
    def leaves(self) -> str:
        """Digest of the fingerprints listed: if the report is intact, those of its entries."""
        return self._leaves.hexdigest()

    def holds(self, record: Record) -> bool:
        """Whether it is the very file the record was written for."""
        return (self.sha256, self.size) == (record.sha256, record.size)


def _joined(line: bytes) -> bytes:
    try:
        parsed = read(line)
    except LedgerError:
        return b""
    return parsed.joined if isinstance(parsed, Fingerprints) else b""


class Archives:
    """Claims and records met in one pass, and the judgement at its end."""

    def __init__(self) -> None:
        self._claims: dict[int, Claim] = {}
        self._waiting: list[bytes] = []
        self._records: list[Record] = []

    def claim(self, line: Archived) -> None:
        """Take note of entries said to be archived."""
        self._claims.setdefault(line.archive, Claim(line.first)).add(line)

    def look(self, entries: Sequence[bytes]) -> None:
        """Take note of records among entries (lines); they lie after what they speak of."""
        if self._claims:
            self._waiting += [line[:-1] for line in entries if _SIGN in line]

    def settle(self, bad: Iterable[bytes] | None) -> None:
        """The entries up to here are proven, but for these leaf hashes; None: none of them is."""
        if self._waiting and bad is not None:
            false = set(bad)
            found = (record_of(one) for one in self._waiting if leaf_hash(one) not in false)
            self._records += [record for record in found if record]
        self._waiting = []

    def judge(self, report: Report, copies: Sequence[Copy]) -> None:
        """Add to the report what became of each claim, and of every file that was given."""
        used = set[str]()
        for number, claim in sorted(self._claims.items()):
            fitting = (one for one in self._records if one.number == number and one.fits(claim))
            record = next(fitting, None)
            if record is None:
                words = (
                    f"{claim.words}: sealed, but not here, and no sealed entry says that exactly "
                    "these were archived. If months were archived just now, export again."
                )
                report.add(Kind.MISSING, words, claim.first + 1, claim.last + 1)
                continue
            used.add(record.sha256)
            _compare(report, claim, record, copies)
        for copy in copies:
            if copy.sha256 not in used:
                _foreign(report, copy)


def _compare(report: Report, claim: Claim, record: Record, copies: Sequence[Copy]) -> None:
    where = f"{claim.words}: archived in {plain(record.file)} (SHA-256 {plain(record.sha256)})"
    copy = next((one for one in copies if one.holds(record)), None)
    if copy is None:
        report.add(Kind.NOTE, f"{where}, not looked at; give the file with --archive")
    elif copy.report.intact and copy.leaves == record.leaves:
        report.looked_at += claim.entries
        report.add(Kind.NOTE, f"{where}, given as {plain(copy.name)}: as they were sealed")
    else:
        report.findings += _told_by(copy)
        report.add(Kind.UNPROVEN, f"{where}: {plain(copy.name)} does not prove them")


def _foreign(report: Report, copy: Copy) -> None:
    words = (
        f"{plain(copy.name)}: not an archive as this history recorded it: no record speaks of its "
        f"SHA-256, {copy.sha256}"
    )
    report.add(Kind.FORGED, words)
    report.findings += _told_by(copy)


def _told_by(copy: Copy) -> list[Finding]:
    """What the archive's own check found wrong."""
    found = (one for one in copy.report.findings if one.kind is not Kind.NOTE)
    return [
        Finding(one.kind, f"{plain(copy.name)}: {one.words}", one.first, one.last) for one in found
    ]
