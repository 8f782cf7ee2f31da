"""A filtered history, streamed page by page: nothing is held but one page, no transaction stays
open, and what is written meanwhile is left out."""

import csv
import json
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache

from audit.capture.devices import device_of
from audit.ledger.canonical import read_object
from audit.reading.queries import HistoryFilter, page_of
from audit.registry import SignatureShown, device_name, registry
from audit.sealing.payload import FIELDS, entries_by_id

PAGE = 2_000
SIGNATURE = ("name", "role", "meaning", "at", "digest", "manner")
HEADINGS = (*FIELDS, *(f"signature_{part}" for part in SIGNATURE), "device")
# A spreadsheet takes a cell that begins with one of these for a formula, and runs it.
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # noqa: RUF001


def json_lines(wanted: HistoryFilter, scope: frozenset[int] | None) -> Iterator[bytes]:
    """One entry a line, newest first, in the very bytes that are sealed."""
    return (payload + b"\n" for payload in _payloads(wanted, scope))


def csv_lines(wanted: HistoryFilter, scope: frozenset[int] | None) -> Iterator[str]:
    """One entry a row, newest first, with signature and device; text can not act as a formula."""
    signature = lru_cache(maxsize=1000)(registry.signature)
    device = lru_cache(maxsize=1000)(device_name)
    line = _Line()
    writer = csv.writer(line, quoting=csv.QUOTE_ALL)
    writer.writerow(HEADINGS)
    yield line.text
    for payload in _payloads(wanted, scope):
        entry = read_object(payload)
        signed = signature(entry["signature_id"]) if entry["signature_id"] else None
        cells = [_cell(entry[name]) for name in FIELDS]
        at = _cell(device(device_of(entry["request_id"])))
        writer.writerow([*cells, *_signature_cells(signed), at])
        yield line.text


def _payloads(wanted: HistoryFilter, scope: frozenset[int] | None) -> Iterator[bytes]:
    before: int | None = None
    while True:
        page = page_of(wanted, scope, before=before, size=PAGE)
        yield from _of([entry.pk for entry in page.entries])
        before = page.older_than
        if before is None:
            return


def _of(ids: Sequence[int]) -> Iterable[bytes]:
    found = entries_by_id(ids)
    return [found[pk] for pk in ids if pk in found]


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return f"'{value}" if value.lstrip(" ").startswith(FORMULA) else value
    return str(value) if isinstance(value, int) else json.dumps(value, ensure_ascii=False)


def _signature_cells(signed: SignatureShown | None) -> list[str]:
    return [_cell(str(getattr(signed, part))) if signed else "" for part in SIGNATURE]


class _Line:
    """What csv writes, one row at a time."""

    text = ""

    def write(self, text: str) -> None:
        """Take a row."""
        self.text = text
