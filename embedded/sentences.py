"""What a person at the terminal is told."""

from pathlib import Path


class CannotRunError(Exception):
    """The run cannot start or go on; the message is one clear sentence saying what to do."""


def say(text: str) -> None:
    """One line on standard output, at once, also when it goes to a pipe."""
    print(text, flush=True)


def tail(log: Path, lines: int = 15) -> str:
    """The end of a log file, indented, or a word that there is none."""
    if not log.exists():
        return "    (no log)"
    last = log.read_text(errors="replace").splitlines()[-lines:]
    return "\n".join(f"    {line}" for line in last) or "    (nothing in the log)"
