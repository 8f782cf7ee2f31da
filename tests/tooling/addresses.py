"""Nothing committed names a package registry or a path of one machine (`make check`)."""

import re
import sys
from collections.abc import Iterator
from pathlib import Path

from tests.tooling.listing import ROOT, our_files

PINNED = re.compile(r"[A-Za-z0-9._-]+(\[[a-z,]+\])?==\S+( ; [^\\]+)?( \\)?")
HASH = re.compile(r"    --hash=sha256:[0-9a-f]{64}( \\)?")
FORBIDDEN = {
    "a package registry": re.compile(
        r"https?://[^\s/]*(pypi|python[h]osted|npmjs|registry|mirror|artifactory|nexus|devpi)", re.I
    ),
    "an installer's address": re.compile(r"--(extra-)?index[-]url[ =]|--find[-]links[ =]"),
    "a path of one machine": re.compile(r"(?<![\w.])/(work|home/\w+|root|Users/\w+)/\w"),
}


def named_in(text: str) -> Iterator[str]:
    """What the text names that it must not, with the line."""
    for number, line in enumerate(text.splitlines(), start=1):
        for what, pattern in FORBIDDEN.items():
            if pattern.search(line):
                yield f"line {number} names {what}: {line.strip()}"


def not_pinned(text: str) -> Iterator[str]:
    """Lines of a requirements file that are not one exact version or one of its hashes."""
    for number, line in enumerate(text.splitlines(), start=1):
        if not PINNED.fullmatch(line) and not HASH.fullmatch(line):
            yield f"line {number} is not a pinned version or a hash: {line}"


def _in(path: Path) -> Iterator[str]:
    try:
        text = path.read_text()
    except UnicodeDecodeError:
        return  # a picture
    yield from named_in(text)
    if path.name.startswith("requirements"):
        yield from not_pinned(text) if path.suffix == ".txt" else ()


def main() -> int:
    """Print every such line of every file of ours; 1 when there is one."""
    found = [f"{path.relative_to(ROOT)}: {text}" for path in our_files() for text in _in(path)]
    print("\n".join(found))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
