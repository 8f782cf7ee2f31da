"""Canonical bytes against the files and the number table of RFC 8785."""

import csv
import json
import struct
from pathlib import Path

import pytest
import rfc8785

from audit.ledger.canonical import canonical
from audit.ledger.errors import LedgerError

DATA = Path(__file__).parent / "data" / "rfc8785"
NAMES = ["arrays", "french", "structures", "unicode", "values"]


@pytest.mark.parametrize("name", NAMES)
def test_published_files(name: str) -> None:
    # references 8.10: cyberphone/json-canonicalization @19d51d7
    value = json.loads((DATA / f"{name}.input.json").read_text("utf-8"))
    assert rfc8785.dumps(value) == (DATA / f"{name}.output.json").read_bytes()


@pytest.mark.parametrize("name", ["french", "structures", "unicode"])
def test_published_files_through_our_own_road(name: str) -> None:
    # The same files, their few floats turned into the whole numbers they are.
    text = (DATA / f"{name}.input.json").read_text("utf-8")
    value = json.loads(text, parse_float=lambda digits: int(float(digits)))
    assert canonical(value) == (DATA / f"{name}.output.json").read_bytes()


def test_values_with_true_floats_are_refused_by_us() -> None:
    value = json.loads((DATA / "values.input.json").read_text("utf-8"))
    with pytest.raises(LedgerError, match=r"entry.numbers\[0\]"):
        canonical(value)


def test_number_table_of_appendix_b() -> None:
    # references 8.11: RFC 8785 appendix B, quoted alike by five projects
    with (DATA / "appendixB_numbers.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 24
    for row in rows:
        (number,) = struct.unpack(">d", bytes.fromhex(row["ieee754_hex"]))
        assert rfc8785.dumps(number).decode() == row["expected"]


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000", "fff0000000000000"])
def test_nan_and_infinity_are_errors(bits: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    with pytest.raises(rfc8785.FloatDomainError):
        rfc8785.dumps(number)
    with pytest.raises(LedgerError):
        canonical({"value": number})


def test_names_sort_by_utf16_code_units() -> None:
    # references 8.12 and RFC 8785 section 3.2.3: U+1F600 (D83D DE00) comes before U+FB33
    assert canonical({"\ufb33": 1, "\U0001f600": 2}) == '{"\U0001f600":2,"\ufb33":1}'.encode()
