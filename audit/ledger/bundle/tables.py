"""The tables beside the history, without a database: every row against a replay of the entries.

The file of the tables is written in one moment. `through` is the newest entry there was then, and
`unfinished` are the transactions that were under way, whose entries count for later. The bundle
has to be exported after it, so that every entry that counts is in it and sealed. An export may
hold both: the tables, and behind their last line the history.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from hashlib import sha256
from typing import Any

from audit.ledger.bundle.report import Kind, Report, plain
from audit.ledger.errors import LedgerError

FORMAT = "portaledger-tables-1"
GOVERNED = b'"operation":"refused"'
ARCHIVES = "audit_archive"

# As the bytes of an entry spell a number that canonical JSON has not.
_loads = json.JSONDecoder(parse_float=lambda digits: {"number": digits}).decode

Row = tuple[str, int]
Values = dict[str, Any]


@dataclass(frozen=True)
class About:
    """The first line. `columns` says of each compared column whether it holds numbers; `former` and
    `renamed` are names that older entries use; `stated` are columns an entry has a place for."""

    origin: str
    through: int
    unfinished: list[int]
    columns: dict[str, dict[str, bool]]
    former: dict[str, str] = field(default_factory=dict)
    renamed: dict[str, dict[str, str]] = field(default_factory=dict)
    stated: dict[str, dict[str, str]] = field(default_factory=dict)

    def line(self) -> bytes:
        """As the file begins."""
        return line(["tables", {"format": FORMAT, **vars(self)}])


def line(row: list[Any]) -> bytes:
    """One line of the file."""
    return json.dumps(row, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"


def _read(raw: bytes) -> list[Any]:
    try:
        row = json.loads(raw)
    except (ValueError, RecursionError):
        raise LedgerError("line", plain(raw), "JSON") from None
    if not isinstance(row, list) or not row:
        raise LedgerError("line", plain(raw), "a line of the tables")
    return row


def _about(row: list[Any]) -> About:
    told: dict[str, Any] = row[1] if len(row) == 2 and isinstance(row[1], dict) else {}
    if row[0] != "tables" or told.pop("format", "") != FORMAT:
        raise LedgerError("tables", plain(row), f"a file of the format {FORMAT}")
    try:
        return About(**told)
    except TypeError:
        raise LedgerError("tables", plain(told), "what tables begin with") from None


BEGIN, END = b'["tables",', b'["end",'


def tables_of(lines: Iterable[bytes]) -> Iterator[bytes]:
    """The tables that an export begins with, up to their last line; nothing where it has none."""
    for number, raw in enumerate(lines):
        if number == 0 and not raw.startswith(BEGIN):
            return
        yield raw
        if raw.startswith(END):
            return


def history_of(lines: Iterable[bytes]) -> Iterator[bytes]:
    """The history in an export: what stands behind its tables, or all of it."""
    feed = iter(lines)
    first = next(feed, b"")
    if first.startswith(BEGIN):
        for raw in feed:
            if raw.startswith(END):
                break
    elif first:
        yield first
    yield from feed


class Tables:
    """One comparison: `watch` the bundle's lines while they are checked, then `compare`."""

    def __init__(self, lines: Iterable[bytes]) -> None:
        """Reads the first line. Raises LedgerError if it is not that of tables."""
        self._lines = iter(lines)
        self.about = _about(_read(next(self._lines, b"[]")))
        self._told: dict[Row, list[tuple[int, str, bytes]]] = {}
        self._newest = 0
        self._archives: dict[int, str] = {}
        self._carried: dict[int, list[tuple[str, int, str, bytes]]] = {}

    def watch(self, lines: Iterable[bytes]) -> Iterator[bytes]:
        """The lines of the bundle, each entry among them taken note of."""
        for raw in lines:
            if raw[:1] == b"{" and GOVERNED not in raw:
                self._take(raw)
            yield raw

    def _take(self, raw: bytes) -> None:
        try:
            entry = json.loads(raw)
            at, operation, row = int(entry["id"]), str(entry["operation"]), entry["row_id"]
            name = str(entry["table_name"])
            changes = entry["changes"]
            changes = _loads(changes) if isinstance(changes, str) else dict(changes)
            late = at > self.about.through or int(entry["txid"]) in self.about.unfinished
        except (ValueError, KeyError, TypeError, RecursionError):
            return  # the check of the bundle says so
        table = self.about.former.get(name, name)
        if late or row is None or table not in self.about.columns:
            return
        self._newest = max(self._newest, at)
        renamed = self.about.renamed.get(table, {})
        changes = {renamed.get(column, column): pair for column, pair in changes.items()}
        for place, column in self.about.stated.get(table, {}).items():
            changes[column] = [None, entry.get(place)]
        if table == ARCHIVES and operation == "created":
            self._archives[int(changes["last_id"][1])] = str(changes.get("carried", ["", ""])[1])
        packed = json.dumps({column: pair[1] for column, pair in changes.items()}).encode()
        self._told.setdefault((table, int(row)), []).append((at, operation, packed))

    def compare(self, report: Report) -> None:
        """Read the rows and add every difference to the report. Damage ends in it as well."""
        if self.about.origin != report.origin:
            report.add(Kind.UNREADABLE, f"the tables are of {plain(self.about.origin)}")
        rows, ended = 0, False
        for raw in self._lines:
            try:
                match _read(raw):
                    case ["carried", int(through), str(table), int(row), str(operation), str(text)]:
                        part = (table, row, operation, text.encode())
                        self._carried.setdefault(through, []).append(part)
                    case ["row", str(table), int(row), dict(values)]:
                        if not rows:
                            self._take_carried(report)
                        rows += 1
                        self._row(report, (table, row), values)
                    case ["end", int(count)]:
                        ended = count == rows
                    case other:
                        raise LedgerError("line", plain(other), "a line of the tables")
            except LedgerError as error:
                report.add(Kind.UNREADABLE, f"the tables: {plain(error)}")
        if not ended:
            report.add(Kind.CUT, "the tables end without their last line: the copy is incomplete")
        self._left(report)
        self._whole(report)
        report.rows = rows

    def _take_carried(self, report: Report) -> None:
        """What archives said, if it is what their records say; it counts as their last entry."""
        for through, parts in self._carried.items():
            joined = b"".join(
                sha256(b" ".join([t.encode(), b"%d" % r, o.encode(), c])).digest()
                for t, r, o, c in parts
            )
            if self._archives.get(through) != sha256(joined).hexdigest():
                words = f"what is carried on from the archive up to entry {through} was changed"
                report.add(Kind.DIFFERS, words)
            for table, row, operation, text in parts:
                if table not in self.about.columns:
                    continue
                pairs = _loads(text.decode())
                packed = json.dumps({column: pair[1] for column, pair in pairs.items()}).encode()
                told = self._told.setdefault((table, row), [])
                told.append((through, operation, packed))
        self._carried = {}

    def _row(self, report: Report, row: Row, values: Mapping[str, Any]) -> None:
        said = _fold(self._told.pop(row, []))
        if said is None:
            report.add(Kind.DIFFERS, f"{_name(row)} stands in its table, and no entry made it")
            return
        for column, is_number in self.about.columns[row[0]].items():
            before, now = said.get(column), values.get(column)
            if not _same(before, now, number=is_number):
                words = f"{_name(row)}, {plain(column)}: the history says {_text(before)}"
                report.add(Kind.DIFFERS, f"{words}, {_text(now)} stands there")

    def _left(self, report: Report) -> None:
        for row, told in self._told.items():
            if _fold(told) is not None:
                report.add(Kind.DIFFERS, f"{_name(row)} is gone, and no entry removed it")

    def _whole(self, report: Report) -> None:
        if self._newest < self.about.through:
            words = (
                f"the tables were read after entry {self.about.through}, which is not here: "
                "export the tables first, then the bundle, once that entry is sealed"
            )
            report.add(Kind.CUT, words)


def _fold(told: list[tuple[int, str, bytes]]) -> Values | None:
    """What entries (id, operation, values) leave of a row; None for none."""
    values: Values | None = None
    for _, operation, packed in sorted(told):
        if operation == "removed":
            values = None
        elif operation == "created":
            values = json.loads(packed)
        else:
            values = {**(values or {}), **json.loads(packed)}
    return values


def _same(before: object, now: object, *, number: bool) -> bool:
    if before == now and type(before) is type(now):
        return True
    if not number or before is None or now is None:
        return False
    try:
        return Decimal(str(before)) == Decimal(str(now))
    except InvalidOperation:
        return str(before) == str(now)


def _name(row: Row) -> str:
    return f"{plain(row[0])} {row[1]}"


def _text(value: object) -> str:
    return "nothing" if value is None else plain(value)
