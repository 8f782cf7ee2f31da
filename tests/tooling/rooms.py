"""Rooms of a good size: no file far past 400 lines, no function past 40 (`make check`).

`--census` counts instead: how many modules there are, how long, and how many are very short. The
aim is 80 to 300 lines that hold one subject; only the upper bounds are enforced.
"""

import ast
import sys
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path
from statistics import median

from tests.tooling.listing import ROOT, our_files

FILE_LINES = 400
FUNCTION_LINES = 40
SIZED = ("*.py", "*.html", "*.js", "*.css")
SHORT = 40  # lines of a module that hardly holds a subject
LONG = 300  # and of one that is longer than the aim
HEADS = ("folder", "modules", "lines", "median", f"<= {SHORT}", f"> {LONG}")


def too_large(path: Path) -> Iterator[str]:
    """A sentence for the file, and for each function in it, that has grown too large."""
    text = path.read_text()
    count = len(text.splitlines())
    if count > FILE_LINES:
        yield f"{path}: {count} lines, more than {FILE_LINES}"
    if path.suffix == ".py":
        yield from _functions(path, text)


def _functions(path: Path, text: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.end_lineno:
            count = node.end_lineno - node.lineno + 1
            if count > FUNCTION_LINES:
                where = f"{path}:{node.lineno}: {node.name}"
                yield f"{where} has {count} lines, more than {FUNCTION_LINES}"


def census() -> Iterator[Sequence[object]]:
    """A row for each top folder, then all but the tests together, then all.

    Counts modules with something in them: neither migrations nor an ``__init__`` that only has a
    sentence.
    """
    lengths: dict[str, list[int]] = defaultdict(list)
    for path in our_files("*.py"):
        place, lines = path.relative_to(ROOT), len(path.read_text().splitlines())
        if "migrations" not in place.parts and (path.name != "__init__.py" or lines > 1):
            lengths[place.parts[0] if len(place.parts) > 1 else "."].append(lines)
    for folder in sorted(lengths):
        yield _row(folder, lengths[folder])
    tests = lengths.pop("tests", [])
    yield _row("program", [count for each in lengths.values() for count in each])
    yield _row("all", [count for each in (*lengths.values(), tests) for count in each])


def _row(name: str, lengths: Sequence[int]) -> Sequence[object]:
    short, long = sum(n <= SHORT for n in lengths), sum(n > LONG for n in lengths)
    return name, len(lengths), sum(lengths), round(median(lengths)), short, long


def main(arguments: Sequence[str] = ()) -> int:
    """Print what is too large; 1 when anything is. Migrations are written by a program."""
    if "--census" in arguments:
        for row in (HEADS, *census()):
            print(
                "".join(f"{cell:<12}" if at == 0 else f"{cell:>9}" for at, cell in enumerate(row))
            )
        return 0
    files = [path for path in our_files(*SIZED) if "migrations" not in path.parts]
    found = [sentence for path in files for sentence in too_large(path.relative_to(ROOT))]
    print("\n".join(found))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
