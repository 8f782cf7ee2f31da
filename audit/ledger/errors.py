"""The one error of this package: it names the field, the value and what is allowed."""

from __future__ import annotations


class LedgerError(ValueError):
    """A value that can not be sealed, signed or checked."""

    def __init__(self, field: str, value: object, allowed: str) -> None:
        super().__init__(f"{field}: {value!r:.80} is not usable; allowed: {allowed}")
        self.field = field
        self.value = value
        self.allowed = allowed


def hash32(field: str, value: bytes) -> bytes:
    """Return `value` if it is 32 bytes. Raises LedgerError naming the field otherwise."""
    if not isinstance(value, bytes) or len(value) != 32:
        raise LedgerError(field, value, "32 bytes of SHA-256")
    return value


def count(field: str, value: int, *, least: int = 0, most: int = 2**62) -> int:
    """Return `value` if it is an int in [least, most]. Raises LedgerError naming the field."""
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise LedgerError(field, value, f"a whole number from {least} to {most}")
    return value
