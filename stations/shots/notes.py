"""What the bar reads of a signed content beside its numbers: told by the package that has it."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Notes:
    """The coffee, and the barista's notes on grind and basket; empty where nothing is said."""

    coffee: str = ""
    grind: str = ""
    basket: str = ""


Reader = Callable[[str, int | None], Notes | None]
"""By the digest of the content, and the machine type (id) whose variant of it is meant, if any."""

_readers: list[Reader] = []


def register(reader: Reader) -> None:
    """Called when the program starts, by the package that has contents signed."""
    _readers.append(reader)


def notes_on(content_digest: str, variant: int | None = None) -> Notes:
    """The notes on this content; empty ones where nobody knows it."""
    found = (reader(content_digest, variant) for reader in _readers) if content_digest else ()
    return next((notes for notes in found if notes), Notes())
