"""What a reconciliation found, each difference by table, row, column, and both values."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any


class Kind(StrEnum):
    """Kinds of difference."""

    ALTERED = "altered"
    LOST = "lost"
    UNMADE = "unmade"
    SIGNATURE = "signature"
    KEY = "key"
    GUARD = "guard"
    CARRIED = "carried"
    UNSEEN = "unseen"


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing found. Empty and None are what does not apply to its kind.

    `said` is what the history says and `stands` what is there, both in words; `entry` is the entry
    that tells of it. `touched` are the things, by type and id, whose pages say so.
    """

    kind: Kind
    table: str = ""
    word: str = ""
    row: int | None = None
    label: str = ""
    column: str = ""
    column_word: str = ""
    said: str | None = None
    stands: str | None = None
    subject_type: str = ""
    subject_id: int | None = None
    site_id: int | None = None
    entry: int | None = None
    words: str = ""
    touched: tuple[tuple[str, int], ...] = ()

    def stored(self) -> dict[str, Any]:
        """As a row of JSON keeps it."""
        return {**asdict(self), "kind": str(self.kind)}


@dataclass
class Report:
    """The outcome. `counts` are of all differences by kind, `differences` the first of them.

    `rows` were compared in `tables` tables, `signatures` worked out again; `through` is the newest
    entry that counted. What was changed unseen in the past (`Kind.UNSEEN`) stays so for good; the
    tables agree with the history all the same.
    """

    tables: int = 0
    rows: int = 0
    entries: int = 0
    signatures: int = 0
    through: int = 0
    counts: dict[str, int] = field(default_factory=dict)
    differences: list[Difference] = field(default_factory=list)

    @property
    def agrees(self) -> bool:
        """True if the tables are what the history says they are."""
        return not any(count for kind, count in self.counts.items() if kind != Kind.UNSEEN)

    def add(self, found: Sequence[Difference], counts: Mapping[str, int]) -> None:
        """More differences, with how many of each kind there are in all."""
        self.differences += found
        for kind, count in counts.items():
            self.counts[kind] = self.counts.get(kind, 0) + count

    @property
    def verdict(self) -> str:
        """One sentence."""
        compared = f"{self.rows:,} rows of {self.tables} tables"
        if self.agrees:
            return f"The tables are what the history says: {compared} were compared."
        total = sum(n for kind, n in self.counts.items() if kind != Kind.UNSEEN)
        found = "1 difference" if total == 1 else f"{total:,} differences"
        return f"The tables are NOT what the history says: {found} in {compared}."
