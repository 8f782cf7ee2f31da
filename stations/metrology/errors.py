"""The one error that every metrology function raises for a value it cannot use."""

from __future__ import annotations


class BadValueError(ValueError):
    """A value that is missing, not a number, or outside what the formula is valid for.

    Carries ``field`` (the name of the input), ``value`` (what was given) and ``allowed``
    (what would have been accepted, in words and with the unit). The message holds all three.
    """

    def __init__(self, field: str, value: object, allowed: str) -> None:
        self.field = field
        self.value = value
        self.allowed = allowed
        super().__init__(f"{field}: {_shown(value)} is not usable; allowed is {allowed}")


def _shown(value: object) -> str:
    """Return the value as text, cut short so that a pasted page does not fill the message."""
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."
