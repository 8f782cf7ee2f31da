"""Canonical bytes: one value, one form; what has no exact form is named, never rounded."""

import enum
import json
import random
from decimal import Decimal
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from audit.ledger.canonical import SAFE_INT, canonical, differences, read_object, row_encoder
from audit.ledger.errors import LedgerError

text = st.text(st.characters(codec="utf-8"), max_size=12)
leaves = st.none() | st.booleans() | st.integers(-SAFE_INT, SAFE_INT) | text
values = st.recursive(leaves, lambda one: st.lists(one) | st.dictionaries(text, one), max_leaves=12)
entries = st.dictionaries(text, values)


@given(entries)
def test_the_package_gives_the_same_bytes(entry: dict[str, Any]) -> None:
    assert canonical(entry) == rfc8785.dumps(entry)


@given(entries)
def test_rows_give_the_same_bytes(entry: dict[str, Any]) -> None:
    assert row_encoder(list(entry))(list(entry.values())) == canonical(entry)


@given(entries, st.randoms())
def test_order_of_fields_does_not_matter_and_bytes_read_back(
    entry: dict[str, Any], chance: random.Random
) -> None:
    shuffled = list(entry.items())
    chance.shuffle(shuffled)
    made = canonical(dict(shuffled))
    assert made == canonical(entry)
    assert canonical(read_object(made)) == made


class Road(enum.StrEnum):
    PAGE = "page"


def test_text_enumerations_are_their_text() -> None:
    assert canonical({"road": Road.PAGE}) == b'{"road":"page"}'


@pytest.mark.parametrize(("entry", "path"), [
    ({"changes": {"dose_mass": ["18", 18.5]}}, "entry.changes.dose_mass[1]"),
    ({"target": Decimal("93.10")}, "entry.target"),
    ({"id": SAFE_INT + 1}, "entry.id"),
    ({"a": {1: "x"}}, "entry.a"),
    ({"a": [b"x"]}, "entry.a[0]"),
    ({"a": float("nan")}, "entry.a"),
    ({"a": "\ud800"}, "entry"),
    ({"\ud800": 1}, "entry"),
    ([1], "entry"),
])  # fmt: skip
def test_what_has_no_exact_form_is_named(entry: dict[str, Any], path: str) -> None:
    with pytest.raises(LedgerError) as caught:
        canonical(entry)
    assert caught.value.field == path


def test_a_row_names_its_bad_field() -> None:
    encode = row_encoder(["id", "target"])
    with pytest.raises(LedgerError, match=r"entry\.target"):
        encode([1, 93.1])
    with pytest.raises(LedgerError, match="row"):
        encode([1])
    with pytest.raises(LedgerError, match="fields"):
        row_encoder(["id", "id"])


def test_nesting_without_end_is_an_error() -> None:
    entry: dict[str, Any] = {}
    entry["a"] = entry
    with pytest.raises(LedgerError, match="nesting"):
        canonical(entry)


def test_a_stored_payload_is_compared_with_its_columns() -> None:
    payload = canonical({"id": 7, "reason": "cupped", "signature_id": None, "flag": True})
    same = {"id": 7, "reason": "cupped", "signature_id": None, "flag": True}
    assert differences(payload, same) == {}
    now = {"id": 7, "reason": "cupped twice", "signature_id": 3, "flag": 1, "unit": "g"}
    assert differences(payload, now) == {
        "flag": (True, 1),
        "reason": ("cupped", "cupped twice"),
        "signature_id": (None, 3),
        "unit": ("(absent)", "g"),
    }


@pytest.mark.parametrize("payload", [b'{"a":1,"a":2}', b"[]", b"{", b"\xff", b"[" * 100_000])
def test_an_unreadable_payload_is_an_error(payload: bytes) -> None:
    with pytest.raises(LedgerError, match="payload"):
        read_object(payload)


def test_read_object_does_what_json_does() -> None:
    assert read_object(b' {"a": [1, {"b": null}]}') == json.loads('{"a":[1,{"b":null}]}')
