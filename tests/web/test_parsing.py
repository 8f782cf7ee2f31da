"""JSON bodies are read without losing a digit; source of the grammar: RFC 8259."""

from decimal import Decimal
from io import BytesIO

import pytest
from rest_framework.exceptions import ParseError

from web.parsing import ExactJSONParser


def _parse(body: bytes) -> object:
    return ExactJSONParser().parse(BytesIO(body))


def test_numbers_keep_every_digit() -> None:
    assert _parse(b'{"dose": 18.10, "n": 0.1000000000000000055511151231257827}') == {
        "dose": Decimal("18.10"),
        "n": Decimal("0.1000000000000000055511151231257827"),
    }


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"NaN",
        b"[Infinity]",
        b"\xff\xfe",
        b"[" * 50_000,
        b"1" * 5_000,
        b'{"dose": 1, "dose": 2}',
        b"[1E99999999999999999999999]",
    ],
)
def test_what_is_not_plain_json_is_refused(body: bytes) -> None:
    with pytest.raises(ParseError):
        _parse(body)
