"""Reading a file of recipes: every fault is named by the place in which it stands."""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError

from audit.characters import visible
from audit.errors import Invalid, Problem
from recipes.exchange.document import FORMAT, MOST, SIDES, schema
from recipes.exchange.lines import read_lines
from stations.metrology.formula import Stated
from web.text import printable, saying_where, texts_in

MAX_BYTES = 2_000_000
FAULTS = 200  # that are named; whoever has more puts these right first
NOWHERE: Mapping[int, int] = MappingProxyType({})
RECIPE = Draft202012Validator(schema("")["properties"]["recipes"]["items"])


@dataclass(frozen=True, slots=True)
class Given:
    """One recipe of a file, and where it stands there, such as "recipe 3" or "row 5"."""

    place: str
    said: Mapping[str, Any]

    @property
    def formula(self) -> dict[str, Stated]:
        """What it states, as typed."""
        return _typed(self.said["formula"])

    @property
    def variants(self) -> dict[str, dict[str, Stated]]:
        """What it states to machine types, by their names, as typed."""
        return {name: _typed(said) for name, said in self.said.get("variants", {}).items()}


def _typed(said: Mapping[str, Mapping[str, str]]) -> dict[str, Stated]:
    return {code: _stated(each) for code, each in said.items()}


def _stated(said: Mapping[str, str]) -> Stated:
    numbers = {side: Decimal(said[side]) for side in SIDES if side in said}
    return Stated(**numbers, text=said.get("text", ""))


def read_json(data: bytes) -> list[Given]:
    """The recipes of a JSON file. Raises Invalid naming every fault with its place."""
    if len(data) > MAX_BYTES:
        raise Invalid("file", f"{len(data)} bytes", f"up to {MAX_BYTES} bytes")
    try:
        read, lines = read_lines(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as wrong:
        where = f"line {wrong.lineno}" if isinstance(wrong, json.JSONDecodeError) else "JSON"
        raise Invalid("file", where, "JSON in UTF-8 as the schema describes it") from wrong
    return given(read, lines)


def given(read: object, lines: Mapping[int, int] = NOWHERE) -> list[Given]:
    """The recipes of what was read. Raises Invalid naming every fault with its place.

    `lines` says on which line each object begins, by its id.
    """
    if not isinstance(read, dict) or read.get("format") != FORMAT:
        raise Invalid("format", None, FORMAT)
    if unknown := set(read) - {"format", "recipes"}:
        raise Invalid("file", min(map(str, unknown)), "format and recipes, nothing else")
    rows = read.get("recipes")
    if not isinstance(rows, list) or not 1 <= len(rows) <= MOST:
        raise Invalid("recipes", None, f"a list of 1 to {MOST} recipes")
    places = [f"line {lines[id(row)]}, " if id(row) in lines else "" for row in rows]
    return checked([
        Given(f"{place}recipe {n}", row)
        for n, (place, row) in enumerate(zip(places, rows, strict=True), start=1)
    ])  # fmt: skip


def checked(rows: Sequence[Given]) -> list[Given]:
    """Those rows, if each is as the schema asks. Raises Invalid naming every fault."""
    problems = [problem for row in rows for problem in _faults(row)]
    if problems:
        raise Invalid.of(problems[:FAULTS])
    return list(rows)


def _faults(row: Given) -> Iterator[Problem]:
    for where, text in texts_in(row.said):
        if not printable(text):
            field = f"{row.place}, {visible(where)}"
            yield Problem(field, text, saying_where("text", text))
    errors = sorted(RECIPE.iter_errors(row.said), key=lambda error: list(map(str, error.path)))
    for error in errors:
        yield _problem(row.place, error)


def _problem(place: str, error: ValidationError) -> Problem:
    path = ".".join(map(str, error.path))
    field = f"{place}, {path}" if path else place
    value = error.instance if isinstance(error.instance, str | int) else None
    return Problem(field, value, ALLOWED[str(error.validator)](error))


def _listed(error: ValidationError) -> list[object]:
    """What its rule lists."""
    return list(error.validator_value) if isinstance(error.validator_value, list) else []


def _one_of(error: ValidationError) -> str:
    return "one of " + ", ".join(map(str, _listed(error)))


ALLOWED: dict[str, Callable[[ValidationError], str]] = {
    "required": lambda error: f"with {', '.join(map(str, _listed(error)))}",
    "additionalProperties": lambda error: f"nothing else: {error.message}",
    "pattern": lambda _: "a decimal as text, such as 18.0",
    "const": lambda error: str(error.validator_value),
    "enum": _one_of,
    "type": lambda error: f"of type {error.validator_value}",
    "minLength": lambda _: "a text that is not empty",
    "maxLength": lambda error: f"at most {error.validator_value} characters",
    "minimum": lambda error: f"{error.validator_value} or more",
    "maxProperties": lambda error: f"at most {error.validator_value} of them",
    "minProperties": lambda _: "at least one parameter",
    "maximum": lambda error: f"{error.validator_value} or less",
}
