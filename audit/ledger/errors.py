"""The one error of this package: it names the field, the value and what is allowed."""

from __future__ import annotations

import binascii
import re
from base64 import b64decode, b64encode


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


_DECIMAL = re.compile(r"0|[1-9][0-9]{0,17}", re.ASCII)


def base64_text(value: bytes) -> str:
    """Standard base64 (RFC 4648 section 4)."""
    return b64encode(value).decode()


def base64_bytes(field: str, text: str) -> bytes:
    """Decode standard base64 with padding, one spelling only. Raises LedgerError naming `field`."""
    try:
        value = b64decode(text, validate=True)
    except (ValueError, TypeError, binascii.Error):
        value = None
    # Unused trailing bits would give the same bytes a second spelling.
    if value is None or base64_text(value) != text:
        raise LedgerError(field, text, "standard base64 with padding")
    return value


def decimal_int(field: str, text: str) -> int:
    """Decode a decimal without sign or leading zeroes. Raises LedgerError naming `field`."""
    if not isinstance(text, str) or not _DECIMAL.fullmatch(text):
        raise LedgerError(field, text, "a decimal number without leading zeroes")
    return int(text)
