"""Files of recipes by people who mean no good, or by programs that write them otherwise."""

import json
import re
from contextlib import suppress
from io import BytesIO
from random import Random
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

import pytest
from openpyxl import Workbook

from audit.errors import Invalid
from recipes.coffees.models import Coffee
from recipes.exchange.actions import import_recipes
from recipes.exchange.reading import read_json
from recipes.exchange.sheet import read_sheet, write_sheet
from recipes.versions.models import Version
from tests.cast import Cast
from tests.recipes.exchange.test_exchange import NEW, file_of

SPREADSHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
HEADS = ["coffee", "rest_from", "rest_to", "drink", "note", "basket", "dose_mass [g]"]


def sheet_of(*rows: list[Any]) -> bytes:
    book, file = Workbook(), BytesIO()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(row)
    book.save(file)
    return file.getvalue()


def row_of(dose: object, **other: object) -> list[Any]:
    said: dict[str, object] = {
        "coffee": "A", "rest_from": 7, "rest_to": 30, "drink": "D", "note": "n", "basket": "b",
    }  # fmt: skip
    return [*(said | other).values(), dose]


def with_part(name: str, text: str) -> bytes:
    """A good spreadsheet with one part of its archive replaced."""
    file, good = BytesIO(), ZipFile(BytesIO(write_sheet([NEW])))
    with ZipFile(file, "w", ZIP_DEFLATED) as archive:
        for part in good.namelist():
            archive.writestr(part, text if part == name else good.read(part))
    return file.getvalue()


def fields(told: pytest.ExceptionInfo[Invalid]) -> list[str]:
    return [problem.field for problem in told.value.problems]


def test_parts_that_are_read_whole_are_small() -> None:
    """Of 5 bytes each, 400,000 styles took 7 s and 200 MB to read."""
    many = "<xf/>" * 100_000
    styles = f'<styleSheet xmlns="{SPREADSHEET}"><cellXfs>{many}</cellXfs></styleSheet>'
    with pytest.raises(Invalid) as told:
        read_sheet(with_part("xl/styles.xml", styles))
    assert fields(told) == ["file"]


def test_bytes_that_were_damaged_or_locked() -> None:
    """Whatever is wrong with the archive is a fault of the file, not of ours."""
    good, by = write_sheet([NEW]), Random(7)
    central = [found.start() for found in re.finditer(b"PK\x01\x02", good)]
    for flags, value in ((8, 1), (10, 14), (10, 99)):  # encrypted; LZMA; an unknown compression
        other = bytearray(good)
        for at in central:
            other[at + flags] = value
        with pytest.raises(Invalid):
            read_sheet(bytes(other))
    for _ in range(300):
        other = bytearray(good)
        for _ in range(3):
            other[by.randrange(len(other))] = by.randrange(256)
        with suppress(Invalid):  # some of them are still read
            read_sheet(b"PK" + bytes(other[2:]))


def test_texts_stay_as_they_are() -> None:
    words = {"coffee": "1,5", "drink": "2,5", "note": "3,5", "basket": "18,5"}
    [row] = read_sheet(sheet_of(HEADS, row_of("18,5", **words)))
    assert {name: row.said[name] for name in ("coffee", "drink", "note")} == {
        "coffee": "1,5", "drink": "2,5", "note": "3,5",
    }  # fmt: skip
    assert row.formula["basket"].text == "18,5"
    assert str(row.formula["dose_mass"].target) == "18.5"


@pytest.mark.parametrize("typed", ["1,234", "=9+9", "1.234,5", "18 g", True])
def test_a_figure_that_could_be_another_or_none(typed: object) -> None:
    with pytest.raises(Invalid) as told:
        read_sheet(sheet_of(HEADS, row_of(typed)))
    assert fields(told) == ["row 2, formula.dose_mass.target"]


def test_nothing_is_left_out_unsaid() -> None:
    with pytest.raises(Invalid) as told:
        read_sheet(sheet_of(HEADS, [*row_of(18), "below no head"]))
    assert fields(told) == ["row 2"]
    with pytest.raises(Invalid) as told:
        read_sheet(sheet_of([*HEADS, "drink"], [*row_of(18), "Other"]))
    assert fields(told) == ["row 1, drink"]
    with pytest.raises(Invalid) as told:
        read_json(b'{"format": "portaledger-recipes-1", "recipes": [{"drink": "x", "drink": "y"}]}')
    assert "drink" in str(told.value)


@pytest.mark.parametrize("mark", ["\0", "\ud800", "\u202e", "\u200b"])
@pytest.mark.parametrize("name", ["coffee", "drink", "note"])
def test_texts_that_nobody_can_read(name: str, mark: str) -> None:
    wrong = {**NEW, name: f"a{mark}b"}
    with pytest.raises(Invalid) as told:
        read_json(json.dumps(file_of(wrong)).encode())
    assert fields(told) == [f"line 1, recipe 1, {name}"]
    str(told.value).encode()
    odd = {**NEW, f"a{mark}b": 1}
    with pytest.raises(Invalid) as told:
        read_json(json.dumps(file_of(odd)).encode())
    str(told.value).encode()
    with pytest.raises(Invalid) as told:
        read_json(json.dumps({**file_of(NEW), f"a{mark}b": 1}).encode())
    str(told.value).encode()


def test_a_fault_says_the_line_of_its_recipe() -> None:
    wrong: dict[str, Any] = {**NEW, "drink": ""}
    text = json.dumps(file_of(NEW, wrong), indent=1)
    line = text[: text.rindex(' {\n   "coffee"')].count("\n") + 1
    with pytest.raises(Invalid) as told:
        read_json(text.encode())
    assert fields(told) == [f"line {line}, recipe 2, drink"]


@pytest.mark.django_db
def test_names_with_blanks_around_are_the_ones_that_are_there(cast: Cast) -> None:
    spaced = {**NEW, "coffee": " Evening blend ", "drink": "Double "}
    for recipe in (spaced, NEW):
        read = read_json(json.dumps(file_of(recipe)).encode())
        import_recipes(by=cast.head_roaster, recipes=read)
    assert Coffee.objects.get().name == "Evening blend"
    assert Version.objects.count() == 2
