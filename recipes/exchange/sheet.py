"""Recipes as a spreadsheet: a row a recipe, a column a figure, the unit in its head."""

import re
import zlib
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from io import BytesIO
from itertools import zip_longest
from lzma import LZMAError
from typing import Any
from zipfile import BadZipFile, ZipFile

from openpyxl import Workbook, load_workbook

from audit.errors import Invalid, Problem
from recipes.exchange.document import MOST, SIDES
from recipes.exchange.reading import MAX_BYTES, Given, checked
from recipes.formula.parameters import PARAMETERS
from web.numbers import ONE_COMMA, THOUSANDS

FRAME = ("coffee", "rest_from", "rest_to", "drink", "note")
WHOLE = ("rest_from", "rest_to")  # of days
UNPACKED = 20_000_000  # bytes: a small file can hold a very large one
BESIDE = 300_000  # bytes of what is read whole, such as styles: 5 bytes make an object of each
UNREADABLE = (  # what the archive's and the spreadsheet's readers raise of a file that is wrong
    BadZipFile, KeyError, ValueError, IndexError, TypeError, OSError, SyntaxError, EOFError,
    RuntimeError, zlib.error, LZMAError,
)  # fmt: skip
IN_ROWS = re.compile(r"xl/(worksheets/[^/]+|sharedStrings)\.xml")


def columns() -> dict[str, tuple[str, str]]:
    """Head of each column of a parameter, with its code and side."""
    found = {}
    for code, parameter in PARAMETERS.items():
        if not parameter.is_number:
            found[code] = (code, "text")
            continue
        for side in SIDES:
            name = code if side == "target" else f"{code} {side}"
            found[f"{name} [{parameter.unit}]"] = (code, side)
    return found


def write_sheet(entries: Sequence[Mapping[str, Any]]) -> bytes:
    """The recipes as an XLSX file; numbers are numbers, to be reckoned with."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Recipes"
    heads = columns()
    sheet.append([*FRAME, *heads])
    for entry in entries:
        cells: list[str | int | Decimal | None] = [_plain(entry.get(name)) for name in FRAME]
        formula = entry["formula"]
        cells += [_cell(formula.get(code, {}).get(side), side) for code, side in heads.values()]
        sheet.append(cells)
    for row in sheet.iter_rows():
        for cell in row:
            if isinstance(cell.value, str):
                cell.data_type = "s"  # a note that begins with = is no formula of the spreadsheet
    sheet.freeze_panes = "A2"
    file = BytesIO()
    book.save(file)
    return file.getvalue()


def _plain(value: object) -> str | int | None:
    return value if isinstance(value, int) else (str(value) if value else None)


def _cell(value: str | None, side: str) -> str | Decimal | None:
    return Decimal(value) if value is not None and side != "text" else value


def read_sheet(data: bytes) -> list[Given]:
    """The recipes of an XLSX file. Raises Invalid naming every fault with its row."""
    rows = _rows(data)
    heads = [str(each).strip() if each is not None else "" for each in next(rows, ())]
    known = columns()
    _must_be_known(heads, known)
    found: list[Given] = []
    for number, cells in enumerate(rows, start=2):
        if all(cell is None for cell in cells):
            continue
        if len(found) == MOST:
            raise Invalid("file", number, f"at most {MOST} recipes")
        said = _entry(dict(zip(heads, cells, strict=False)), known)
        found.append(Given(f"row {number}", said | _without_head(heads, cells)))
    if not found:
        raise Invalid("file", None, "at least one row below the heads")
    return checked(found)


def _rows(data: bytes) -> Iterator[tuple[object, ...]]:
    if len(data) > MAX_BYTES:
        raise Invalid("file", f"{len(data)} bytes", f"up to {MAX_BYTES} bytes")
    try:
        _must_be_small(ZipFile(BytesIO(data)))
        # A formula that nobody has worked out has no value: it is told, not left out.
        both = _cells(data, values=True), _cells(data, values=False)
        for held, written in zip(*both, strict=True):
            pairs = zip(held, written, strict=True)
            yield tuple(said if one is None else one for one, said in pairs)
    except UNREADABLE as wrong:
        raise Invalid("file", None, "an XLSX spreadsheet") from wrong


def _must_be_small(archive: ZipFile) -> None:
    sizes = {part.filename: part.file_size for part in archive.infolist()}
    beside = sum(size for name, size in sizes.items() if not IN_ROWS.fullmatch(name))
    if sum(sizes.values()) > UNPACKED or beside > BESIDE:
        raise Invalid("file", None, "a spreadsheet of rows, with little beside them")


def _cells(data: bytes, *, values: bool) -> Iterator[tuple[object, ...]]:
    """The first sheet's cells, whatever size the file says it has; formulas, or their values."""
    sheet = load_workbook(BytesIO(data), read_only=True, data_only=values).worksheets[0]
    yield from sheet.iter_rows(max_row=10 * MOST, max_col=200, values_only=True)


def _must_be_known(heads: Sequence[str], known: Mapping[str, object]) -> None:
    problems = [
        Problem(f"row 1, {head}", head, "a head as the export has it, the unit in brackets")
        for head in heads
        if head and head not in known and head not in FRAME
    ]
    problems += [
        Problem("row 1", None, f"the column {name}")
        for name in ("coffee", "drink")
        if name not in heads
    ]
    problems += [
        Problem(f"row 1, {head}", head, "each head once")
        for head in (*FRAME, *known)
        if heads.count(head) > 1
    ]
    if problems:
        raise Invalid.of(problems)


def _without_head(heads: Sequence[str], cells: Sequence[object]) -> dict[str, str]:
    """What stands below no head: for the schema to refuse, so that nothing is left out unsaid."""
    return {
        f"column {number}": str(cell)
        for number, (head, cell) in enumerate(zip_longest(heads, cells), start=1)
        if cell is not None and not head
    }


def _entry(cells: Mapping[str, object], known: Mapping[str, tuple[str, str]]) -> dict[str, Any]:
    """A row as the JSON file would say it; what can't be read is left for the schema to name."""
    said: dict[str, Any] = {
        name: cells[name] if name in WHOLE and type(cells[name]) is int else _text(cells[name])
        for name in FRAME
        if cells.get(name) is not None
    }
    formula: dict[str, dict[str, str]] = {}
    for head, (code, side) in known.items():
        if cells.get(head) is not None:
            read = _text if side == "text" else _number
            formula.setdefault(code, {})[side] = read(cells[head])
    for code, each in formula.items():
        if PARAMETERS[code].is_number:
            each["unit"] = PARAMETERS[code].unit
    return {**said, "formula": formula}


def _number(value: object) -> str:
    """As _text; a comma before decimals is a point, unless it could part thousands."""
    text = _text(value)
    doubtful = THOUSANDS.fullmatch(text) or not ONE_COMMA.fullmatch(text)
    return text if doubtful else text.replace(",", ".")


def _text(value: object) -> str:
    """A cell as text: spreadsheets keep numbers in binary, and say the shortest that means it."""
    if isinstance(value, float | int) and not isinstance(value, bool):
        return f"{Decimal(repr(value)):f}"
    return str(value).strip()
