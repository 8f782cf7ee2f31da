"""Small rooms: no file far past 400 lines, no function past 40 (`make check`)."""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

from tests.tooling.listing import ROOT, our_files

FILE_LINES = 400
FUNCTION_LINES = 40
SIZED = ("*.py", "*.html", "*.js", "*.css")


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


def main() -> int:
    """Print what is too large; 1 when anything is. Migrations are written by a program."""
    files = [path for path in our_files(*SIZED) if "migrations" not in path.parts]
    found = [sentence for path in files for sentence in too_large(path.relative_to(ROOT))]
    print("\n".join(found))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
