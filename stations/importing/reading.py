"""From bytes to cells: encoding, delimiter, header, and the shape of every line."""

import csv
from collections.abc import Iterator
from typing import TYPE_CHECKING

from audit.errors import Invalid
from stations.importing.columns import NAMES, NEEDED
from stations.importing.faults import Fault

if TYPE_CHECKING:
    import _csv

MAX_BYTES = 4_000_000
MAX_LINES = 20_000
DELIMITERS = (",", ";")

Cells = dict[str, str]


def decode(data: bytes) -> str:
    """The file's text, from UTF-8 with or without a byte order mark. Raises Invalid."""
    if len(data) > MAX_BYTES:
        raise Invalid("file", "a larger one", f"at most {MAX_BYTES // 1_000_000} MB")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        wrong = f"byte {data[error.start]:#04x} in line {line}"
        raise Invalid("file", wrong, "text in UTF-8: choose UTF-8 when saving the file") from error


def read_lines(text: str) -> tuple[list[tuple[int, Cells]], list[Fault]]:
    """Every line that is not blank, with its number in the file, and what is wrong with lines.

    Raises Invalid where the file as a whole can't be read.
    """
    first, _, _ = text.lstrip("\ufeff\r\n").partition("\n")
    reader = csv.reader(text.splitlines(keepends=True), delimiter=_delimiter(first), strict=True)
    rows = _rows(reader)
    header = _header(next(rows, (0, []))[1])
    lines: list[tuple[int, Cells]] = []
    faults: list[Fault] = []
    for number, cells in rows:
        if len(cells) == len(header):
            lines.append((number, dict(zip(header, cells, strict=True))))
        else:
            faults.append(Fault(number, "line", f"{len(cells)} cells", f"{len(header)} cells"))
        if len(lines) + len(faults) > MAX_LINES:
            raise Invalid("file", f"more than {MAX_LINES} lines", f"at most {MAX_LINES} lines")
    if not lines and not faults:
        raise Invalid("file", "no lines after the header", "at least one station")
    return lines, faults


def _rows(reader: "_csv.Reader") -> Iterator[tuple[int, list[str]]]:
    """Rows with their line numbers; raises Invalid for quoting that can't be read."""
    read = 0
    try:
        for cells in reader:
            # A quoted cell may hold line breaks: the row is named by its first line.
            number, read = read + 1, reader.line_num
            if any(cell.strip() for cell in cells):
                yield number, [cell.strip() for cell in cells]
    except csv.Error as error:
        wrong = f"line {reader.line_num}: {error}"
        raise Invalid("file", wrong, "a CSV file, quotes doubled") from error


def _delimiter(header: str) -> str:
    return max(DELIMITERS, key=header.count)


def _header(cells: list[str]) -> list[str]:
    """The column names of the first line. Raises Invalid for a missing, unknown or double one."""
    names = [cell.lower() for cell in cells]
    for name in names:
        if name not in NAMES:
            raise Invalid("header", name or "an empty column", f"the columns {', '.join(NAMES)}")
        if names.count(name) > 1:
            raise Invalid("header", name, "each column once")
    missing = [name for name in NEEDED if name not in names]
    if missing:
        raise Invalid("header", f"no column {missing[0]}", f"the columns {', '.join(NEEDED)}")
    return names
