"""JSON with the line on which each of its objects begins, so that a fault can be found."""

import json
import re
from bisect import bisect
from collections.abc import Mapping
from json.decoder import JSONObject  # type: ignore[attr-defined]  # not in its stubs
from json.scanner import py_make_scanner  # type: ignore[attr-defined]  # nor this
from typing import Any

from audit.errors import Invalid


class _Placing(json.JSONDecoder):
    """Notes where objects begin. The scanner is the library's own in Python: C's tells nothing."""

    def __init__(self) -> None:
        super().__init__(object_pairs_hook=_each_once)
        self.begins: dict[int, int] = {}
        self.parse_object = self._object
        self.scan_once = py_make_scanner(self)

    def _object(self, text_and_end: tuple[str, int], *rest: Any) -> tuple[object, int]:  # noqa: ANN401
        found, end = JSONObject(text_and_end, *rest)
        self.begins[id(found)] = text_and_end[1] - 1  # of its brace
        return found, end


def read_lines(text: str) -> tuple[object, Mapping[int, int]]:
    """What the text says, and by the id of each object the line on which it begins, from 1.

    Raises ValueError or RecursionError for what is no JSON, Invalid for a name given twice.
    """
    placing = _Placing()
    read = placing.decode(text)
    ends = [found.start() for found in re.finditer("\n", text)]
    return read, {key: bisect(ends, at) + 1 for key, at in placing.begins.items()}


def _each_once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    """As an object; the last of two would win otherwise, and nobody would know."""
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise Invalid("file", twice, "each name once in an object")
    return found
