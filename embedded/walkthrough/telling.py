"""The steps, and the table that tells how each went."""

import shutil
import textwrap
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from embedded.walkthrough.browser import Stage
from embedded.walkthrough.page import Unexpected

NARROWEST, WIDEST = 100, 150  # characters
FIXED = (3, 16, 0, 0, 0, 3)  # number, who, … , ok; the others share what is left
SHARES = (0, 0, 28, 40, 32, 0)
HEADS = ("", "who", "does", "what happened", "what must happen", "")


@dataclass(frozen=True)
class Step:
    """One thing one person does. ``act`` returns what happened, or raises Unexpected."""

    who: str
    does: str
    must: str
    act: Callable[[Stage], str]


class Table:
    """Prints one row after the other, each cell wrapped to its column."""

    def __init__(self) -> None:
        wide = min(max(shutil.get_terminal_size((120, 24)).columns, NARROWEST), WIDEST)
        left = wide - sum(FIXED) - 2 * (len(FIXED) - 1)
        self.widths = [
            fixed or left * share // sum(SHARES) for fixed, share in zip(FIXED, SHARES, strict=True)
        ]

    def row(self, *cells: str) -> None:
        """Print one row."""
        wrapped = [
            textwrap.wrap(cell, width) or [""]
            for cell, width in zip(cells, self.widths, strict=True)
        ]
        for number in range(max(map(len, wrapped))):
            line = [lines[number] if number < len(lines) else "" for lines in wrapped]
            padded = [text.ljust(width) for text, width in zip(line, self.widths, strict=True)]
            print("  ".join(padded).rstrip(), flush=True)

    def rule(self) -> None:
        """Print a line across."""
        print("  ".join("-" * width for width in self.widths), flush=True)


def tell(steps: Sequence[Step], stage: Stage) -> int:
    """Take every step and print it; how many did not give what they must."""
    table, failed, since = Table(), 0, time.monotonic()
    table.row(*HEADS)
    table.rule()
    for number, step in enumerate(steps, start=1):
        happened, ok = _taken(step, stage)
        failed += not ok
        table.row(str(number), step.who, step.does, happened, step.must, "ok" if ok else "NO")
    table.rule()
    shares = ", ".join(f"{base} answered {count}" for base, count in stage.asked().items())
    print(f"{time.monotonic() - since:.0f} s; {shares} requests.")
    print(_verdict(len(steps), failed), flush=True)
    return failed


def _taken(step: Step, stage: Stage) -> tuple[str, bool]:
    try:
        return step.act(stage), True
    except Unexpected as finding:
        return str(finding), False
    except OSError as lost:  # no answer at all
        return f"no answer: {lost}", False


def _verdict(steps: int, failed: int) -> str:
    if failed:
        return f"{failed} of {steps} steps did NOT give what they must."
    return f"All {steps} steps gave what they must."
