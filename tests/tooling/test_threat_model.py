"""Every promise in the tables of the threat model names the test that would fail without it."""

import ast
import re
from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise

import pytest

from tests.tooling.listing import ROOT

DOCUMENT = ROOT / "docs" / "threat-model.md"
NAMED = re.compile(r"`(tests/[\w./]+?)(?:::(\w+))?`")


def rows(text: str) -> Iterator[str]:
    """The rows of all tables, without their heads and the lines below those."""
    lines = text.splitlines()
    for before, line in pairwise(lines):
        is_head = not before.startswith("|")
        if line.startswith("|") and not is_head and set(line) - set("|-: "):
            yield line


@lru_cache
def names_in(path: str) -> frozenset[str]:
    """The names of a file's tests; none if there is no such file."""
    file = ROOT / path
    if not file.is_file():
        return frozenset()
    tree = ast.parse(file.read_text("utf-8"))
    functions = (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef))
    return frozenset(node.name for node in functions if node.name.startswith("test_"))


def wrong(row: str) -> list[str]:
    """What is wrong with the tests that a row names."""
    found = NAMED.findall(row)
    if not found:
        return ["it names no test"]
    return [
        f"{path}::{name}" if name else f"{path} without a test's name"
        for path, name in found
        if name not in names_in(path)
    ]


TEXT = DOCUMENT.read_text("utf-8")


@pytest.mark.parametrize("row", list(rows(TEXT)), ids=lambda row: row.strip("| ")[:40])
def test_every_row_names_tests_that_exist(row: str) -> None:
    assert not wrong(row)


def test_it_has_both_tables() -> None:
    firsts = {row.strip("| ").split(" |")[0] for row in rows(TEXT)}
    assert {"owner", "the network", "a credential changed"} <= firsts


def test_what_else_it_names_exists() -> None:
    missing = [
        (path, name)
        for path, name in NAMED.findall(TEXT)
        if not (ROOT / path).exists() or (name and name not in names_in(path))
    ]
    assert not missing


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("| owner | all | nothing |", "it names no test"),
        ("| owner | `tests/tooling/test_threat_model.py` |", "without a test's name"),
        ("| owner | `tests/tooling/test_threat_model.py::test_of_dreams` |", "test_of_dreams"),
        (
            "| owner | `tests/tooling/test_gone.py::test_it` |",
            "tests/tooling/test_gone.py::test_it",
        ),
    ],
)
def test_a_row_without_a_test_is_told(row: str, told: str) -> None:
    assert any(told in each for each in wrong(row))
