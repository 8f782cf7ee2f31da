"""From bytes to cells: encoding, delimiter, header, and the shape of every line."""

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from audit.errors import Invalid, Problem, shown
from stations.equipment.bounds import (
    ALTITUDE,
    OFFSET,
    PULSES,
    SLOT_COUNT,
    STATION_NUMBER,
    Figure,
    ask_usual,
    check_code,
)
from stations.metrology.offset_questions import usual_offset
from stations.metrology.questions import usual_pulses
from web.checks import Checks

# The columns of the file, and an example of it.


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its header, what stands in it, and whether the file must have it."""

    name: str
    about: str
    needed: bool = True


COLUMNS = (
    Column("site_code", "the site's code in addresses: small letters, digits and hyphens"),
    Column("site_name", "the site's name; may be empty once the site is known"),
    Column("time_zone", "IANA name, such as Europe/Lisbon; may be empty once the site is known"),
    Column("altitude_m", "metres above sea level; may be empty once the site is known"),
    Column("machine", "the machine's name within its site"),
    Column("machine_type", "the name of its machine type, added before; may be empty once known"),
    Column("station", "the number of the brewing group, from 1"),
    Column("slots", "how many slots the station has, from 1 to 32"),
    Column("pulses_per_ml", "flow-meter pulses per mL; empty: not measured", needed=False),
    Column("temperature_offset_c", "°C measured minus °C set; empty: not measured", needed=False),
    Column("reason", "why a value stands that is not usual; else empty", needed=False),
)
FORMER = {"abilities": "machine_type"}  # as earlier files head that column
NAMES = tuple(column.name for column in COLUMNS)
NEEDED = tuple(column.name for column in COLUMNS if column.needed)

EXAMPLE = (
    ",".join(NAMES) + "\r\n"
    "harbour,Harbour,Europe/Lisbon,12,Left machine,Two boilers,1,4,4.02,-0.4,\r\n"
    "harbour,,,,Left machine,,2,4,3.97,,\r\n"
    "hill,Hill,America/Bogota,2640,Main machine,Two boilers,1,4,,,\r\n"
)


# What is wrong with a file, line by line.


@dataclass(frozen=True, slots=True)
class Fault:
    """One value that can't be used: the line and field it stands in, and what is allowed."""

    line: int
    field: str
    value: object
    allowed: str

    @property
    def shown(self) -> str:
        """The value as it may be repeated on a page."""
        return shown(self.value if self.value is not None else "")

    @property
    def problem(self) -> Problem:
        """The same as an action tells it."""
        return Problem(f"line {self.line}, {self.field}", self.value, self.allowed)


def invalid(faults: Sequence[Fault]) -> Invalid:
    """One error for all of them."""
    return Invalid.of([fault.problem for fault in faults])


if TYPE_CHECKING:
    import _csv

MAX_BYTES = 4_000_000
MAX_LINES = 20_000
DELIMITERS = (",", ";", "\t")

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
    names = [FORMER.get(cell.lower(), cell.lower()) for cell in cells]
    for name in names:
        if name not in NAMES:
            raise Invalid("header", name or "an empty column", f"the columns {', '.join(NAMES)}")
        if names.count(name) > 1:
            raise Invalid("header", name, "each column once")
    missing = [name for name in NEEDED if name not in names]
    if missing:
        raise Invalid("header", f"no column {missing[0]}", f"the columns {', '.join(NEEDED)}")
    return names


# From cells to values: each line on its own.


@dataclass(frozen=True, slots=True)
class StationLine:
    """One station as the file gives it; None or empty where the cell was empty."""

    number: int
    site_code: str
    site_name: str
    time_zone: str
    altitude: Decimal | None
    machine: str
    machine_type: str
    station: int
    slots: int
    pulses: Decimal | None
    offset: Decimal | None
    reason: str = ""


def read_values(lines: Sequence[tuple[int, Cells]]) -> tuple[list[StationLine], list[Fault]]:
    """The lines whose values can be used, and what is wrong with the others."""
    good: list[StationLine] = []
    faults: list[Fault] = []
    for number, cells in lines:
        checks = Checks(typed=True)
        line = _line(number, cells, checks)
        if checks.problems:
            faults += [Fault(number, p.field, p.value, p.allowed) for p in checks.problems]
        else:
            good.append(line)
    return good, faults


def _line(number: int, cells: Cells, checks: Checks) -> StationLine:
    def text(field: str) -> str:
        return checks.text(field, cells[field]) if cells[field] else ""

    line = StationLine(
        number=number,
        site_code=check_code(checks, "site_code", cells["site_code"]),
        site_name=text("site_name"),
        time_zone=checks.zone("time_zone", cells["time_zone"]) if cells["time_zone"] else "",
        altitude=checks.number_or_none("altitude_m", cells["altitude_m"], ALTITUDE),
        machine=checks.text("machine", cells["machine"]),
        machine_type=text("machine_type"),
        station=int(checks.number("station", cells["station"], STATION_NUMBER)),
        slots=int(checks.number("slots", cells["slots"], SLOT_COUNT)),
        pulses=checks.number_or_none("pulses_per_ml", cells.get("pulses_per_ml"), PULSES),
        offset=checks.number_or_none(
            "temperature_offset_c", cells.get("temperature_offset_c"), OFFSET
        ),
        reason=checks.text("reason", cells.get("reason", ""), most=500, required=False),
    )
    ask_usual(
        checks,
        line.reason,
        Figure("pulses_per_ml", line.pulses, PULSES, usual_pulses),
        Figure("temperature_offset_c", line.offset, OFFSET, usual_offset),
    )
    return line
