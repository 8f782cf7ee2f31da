"""Canonical bytes of an entry: RFC 8785, with input strict enough that one value has one form.

Decimals travel as strings: a JSON number would be read as a binary double and 93.10 would lose
its last digit. Floats are therefore refused, not rounded, and without them the standard library's
string escapes are already those of RFC 8785. Written out here because history is sealed in bulk
and this is several times as fast as the rfc8785 package, which the tests hold it against.
"""

from __future__ import annotations

import gc
import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from json.encoder import encode_basestring as _quoted
from typing import Any

from audit.ledger.errors import LedgerError

SAFE_INT = 2**53 - 1  # RFC 8785 section 3.2.2.3: beyond it a JSON number is not exact
ABSENT = "(absent)"
ALLOWED = "text, a whole number up to 2^53 - 1, true, false, null, lists and objects"


def canonical(value: Mapping[str, Any]) -> bytes:
    """RFC 8785 bytes (UTF-8) of an object of strings, exact integers, booleans, nulls and lists.

    Raises LedgerError naming the path of a float, Decimal, integer beyond 2^53 - 1, lone
    surrogate, name that is not text, or any other type.
    """
    if not isinstance(value, Mapping):
        raise LedgerError("entry", value, "an object")
    try:
        return _object(value).encode()
    except UnicodeEncodeError:
        raise LedgerError("entry", value, "text without lone surrogates") from None
    except RecursionError:
        raise LedgerError("entry", "(deep)", "nesting a reader can follow") from None
    except _UnfitError:
        raise LedgerError(*_where(value, "entry"), ALLOWED) from None


def row_encoder(fields: Sequence[str]) -> Callable[[Sequence[Any]], bytes]:
    """A function giving `canonical(dict(zip(fields, row)))` for rows of ever the same fields.

    It sorts and quotes the names once, which is most of the work for a short entry. The returned
    function raises LedgerError as `canonical` does, or for a row of another length.
    """
    if len(set(fields)) != len(fields):
        raise LedgerError("fields", fields, "names that differ")
    order = sorted(range(len(fields)), key=lambda at: _utf16(fields[at]))
    names = [_quoted(fields[at]).replace("%", "%%") for at in order]
    frame = "{" + ",".join(f"{name}:%s" for name in names) + "}"

    def encode(row: Sequence[Any]) -> bytes:
        if len(row) != len(fields):
            raise LedgerError("row", len(row), f"{len(fields)} values")
        try:
            return (frame % tuple([_text(row[at]) for at in order])).encode()
        except (_UnfitError, UnicodeEncodeError, RecursionError):
            return canonical(dict(zip(fields, row, strict=True)))  # which says what is wrong

    return encode


def recoded(texts: Sequence[str]) -> list[str] | None:
    """The canonical text of each JSON text, all in one go of the C parser and writer; None where
    these may not do for one of them.

    What they may not do: names beyond the basic plane, which sort otherwise; whole numbers beyond
    2^53 - 1; nesting deeper than they follow. A fraction or exponent is kept by its digits, as
    {"number": digits}. The texts are a database's: one value each, without a raw line break.
    """
    joined = _BETWEEN.join(texts)
    if not texts or _BEYOND.search(joined):
        return [] if not texts else None
    try:
        with _uncollected():
            written = _rewrite(_reread(f"[{joined}]"))
    except (_UnfitError, ValueError, RecursionError):
        return None
    found = written[1:-1].split(_BETWEEN)
    return found if len(found) == len(texts) else None


def differences(payload: bytes, columns: Mapping[str, Any]) -> dict[str, tuple[Any, Any]]:
    """Fields in which a stored payload and the columns beside it disagree: {field: (sealed, now)}.

    A stored payload proves only itself, so a check of the history compares the two. An absent
    field reads as the text "(absent)". Raises LedgerError if the payload is not an object.
    """
    sealed = read_object(payload)
    now = read_object(canonical(columns))
    fields = sorted(sealed.keys() | now.keys())
    pairs = {field: (sealed.get(field, ABSENT), now.get(field, ABSENT)) for field in fields}
    return {field: pair for field, pair in pairs.items() if not _same(*pair)}


def read_object(payload: bytes) -> dict[str, Any]:
    """Parse one JSON object; repeated names are an error (RFC 8785 section 3.1), not a choice.

    Raises LedgerError naming the payload.
    """
    try:
        value = json.loads(payload, object_pairs_hook=_once)
    except (ValueError, RecursionError):
        raise LedgerError("payload", payload, "one JSON object without repeated names") from None
    if not isinstance(value, dict):
        raise LedgerError("payload", payload, "one JSON object")
    return value


@contextmanager
def _uncollected() -> Iterator[None]:
    """Many small objects, none in a circle, gone at the end: to go through them for garbage again
    and again would cost more than to make them."""
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if before:
            gc.enable()


class _UnfitError(Exception):
    """A value without one exact form, found on the fast path, which keeps no track of where."""


def _whole(digits: str) -> int:
    value = int(digits) if len(digits) < LONG else LAST
    if not -SAFE_INT <= value <= SAFE_INT:
        raise _UnfitError
    return value


# No text of a database holds this string, and within one its quotes would be escaped: as an item
# of its own it parts the others.
_BETWEEN = ',"\\u0000",'
LONG = 20  # digits, with which no number is within 2^53
LAST = 10**LONG
_BEYOND = re.compile("[^\x00-\ud7ff]")
_reread = json.JSONDecoder(parse_float=lambda digits: {"number": digits}, parse_int=_whole).decode
_rewrite = json.JSONEncoder(
    ensure_ascii=False, sort_keys=True, separators=(",", ":"), check_circular=False
).encode


def _text(value: object) -> str:
    if isinstance(value, str):
        return _quoted(value)
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and -SAFE_INT <= value <= SAFE_INT:
        return int.__repr__(value)
    if isinstance(value, dict):
        return _object(value)
    if isinstance(value, list | tuple):
        return "[" + ",".join([_text(item) for item in value]) + "]"
    raise _UnfitError


def _object(value: Mapping[str, Any]) -> str:
    if not all([isinstance(name, str) for name in value]):  # noqa: C419 a list is faster here
        raise _UnfitError
    # Code points sort like UTF-16 code units only below the surrogates; ASCII is the usual case.
    order = sorted(value) if "".join(value).isascii() else sorted(value, key=_utf16)
    return "{" + ",".join([f"{_quoted(name)}:{_text(value[name])}" for name in order]) + "}"


def _where(value: object, path: str) -> tuple[str, object]:
    """The path and value of the first unfit part."""
    rows: list[tuple[object, object]] = []
    if isinstance(value, Mapping):
        for name in value:
            if not isinstance(name, str):
                return path, name
        rows = [(f".{name}", item) for name, item in value.items()]
    elif isinstance(value, list | tuple):
        rows = [(f"[{at}]", item) for at, item in enumerate(value)]
    for step, item in rows:
        try:
            _text(item)
        except _UnfitError:
            return _where(item, f"{path}{step}")
    return path, value


def _utf16(name: str) -> bytes:
    return name.encode("utf-16-be")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise ValueError
    return made


def _same(sealed: object, now: object) -> bool:
    # 1 == True and 1 == 1.0 in Python, but not on paper.
    return json.dumps(sealed, sort_keys=True) == json.dumps(now, sort_keys=True)
