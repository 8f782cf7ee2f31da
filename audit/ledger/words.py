"""Text forms shared by notes, receipts and bundles: strict base64 and decimals without zeroes."""

from __future__ import annotations

import binascii
import re
from base64 import b64decode, b64encode

from audit.ledger.errors import LedgerError

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
