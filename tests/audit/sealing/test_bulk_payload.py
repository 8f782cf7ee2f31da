"""Bytes made in bulk by the database are those made of the columns one by one, to the last."""

import json
from typing import Any

import pytest
from django.db import connection
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from audit.capture.models import Entry
from audit.ledger.canonical import SAFE_INT, canonical, recoded
from audit.sealing import payload
from audit.sealing.payload import COLUMNS, FIELDS, MADE, made_by_id, payload_of, payloads_of
from tests.audit.sealed import shelves
from tests.services import rounds

ROWS = 20  # entries an example

# No NUL: no text of PostgreSQL holds it. Marks of COPY, of JSON and of both are likely ones.
ANY = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12)
ODD = ["", "\\", "\\N", "\\n", "\t\n\r\b\f\v", '"', "\x7f\x80\u2028\ufffd", "😀\ue000", "a, b: c"]
TEXT = ANY | st.sampled_from(ODD)
BIG = st.integers(-(2**63), 2**63 - 1)
NUMBER = st.sampled_from([0, 1, -1, SAFE_INT, SAFE_INT + 1, -SAFE_INT, -SAFE_INT - 1]) | BIG
# As the database spells them: whole, with a fraction, an exponent, or more digits than a float has.
DIGITS = st.sampled_from(
    ["1.50", "-0.0", "1e400", "9007199254740993", "12345678901234567890", "0.1"]
)


class Digits(float):
    """A number that json.dumps writes as it was given."""

    def __new__(cls, text: str) -> "Digits":
        made = super().__new__(cls, text)
        made.text = text
        return made

    text: str

    def __repr__(self) -> str:
        return self.text


def spelled(value: object) -> str:
    """JSON with numbers to the digit."""
    if isinstance(value, Digits):
        return value.text
    if isinstance(value, dict):
        return "{" + ",".join(f"{json.dumps(k)}:{spelled(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ",".join(map(spelled, value)) + "]"
    return json.dumps(value)


SCALAR = st.none() | st.booleans() | NUMBER | TEXT | DIGITS.map(Digits)
VALUE = st.recursive(
    SCALAR,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=8,
)
CHANGES = st.dictionaries(TEXT, VALUE, max_size=4) | VALUE
TEXTS = [str(f.column) for f in Entry._meta.concrete_fields if f.get_internal_type() == "TextField"]
TIMES = ["2026-11-28 12:00:00.5+00", "1999-12-31 23:59:59.999999+00", "infinity", "0044-03-15 BC"]
NUMBERS = [
    str(f.column) for f in Entry._meta.concrete_fields if f.get_internal_type() == "BigIntegerField"
]
ENTRY: st.SearchStrategy[dict[str, Any]] = st.fixed_dictionaries(
    {
        "txid": NUMBER,
        **{name: TEXT for name in TEXTS if name not in {"operation", "road", "parameter"}},
        **{name: st.none() | NUMBER for name in NUMBERS if name != "txid"},
        "operation": st.sampled_from(["created", "changed", "removed", "refused"]),
        "road": st.sampled_from(["page", "api"]),
        "parameter": st.none() | TEXT,
        "client_addr": st.none() | st.ip_addresses().map(str),
        "at": st.sampled_from(TIMES),
        "changes": CHANGES.map(spelled),
    }
)


@pytest.fixture
def _entry_with_text(sample_tables: None) -> None:
    shelves(ROWS)


@pytest.mark.django_db
@pytest.mark.usefixtures("_entry_with_text")
@settings(
    max_examples=rounds(500, 40), deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip
@given(st.lists(ENTRY, min_size=ROWS, max_size=ROWS))
def test_the_bytes_are_the_same_both_ways(entries: list[dict[str, Any]]) -> None:
    ids = list(Entry.objects.order_by("-id").values_list("id", flat=True)[:ROWS])
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        for pk, entry in zip(ids, entries, strict=True):
            columns = ", ".join(f"{name} = %s" for name in entry)
            cursor.execute(f"UPDATE audit_entry SET {columns} WHERE id = %s", [*entry.values(), pk])
        cursor.execute("SET session_replication_role = origin")
        cursor.execute(f"SELECT e.id, {COLUMNS} FROM audit_entry e WHERE e.id = ANY(%s)", [ids])
        slow = {pk: (row, payload_of(row)) for pk, *row in cursor.fetchall()}
    made = payloads_of(f"SELECT {MADE} FROM audit_entry e WHERE e.id = ANY(%s)", [ids])
    whole = dict(zip(made.ids, made.payloads, strict=True))
    assert whole == {pk: one for pk, (_, one) in slow.items()}
    for pk, txid, at in zip(made.ids, made.txids, made.times, strict=True):
        row = dict(zip(FIELDS, slow[pk][0], strict=True))
        assert (txid, at) == (row["txid"], row["at"] or "")


@given(st.dictionaries(TEXT, VALUE, max_size=4))
def test_a_text_recoded_is_the_canonical_one_or_left_to_the_slow_way(value: dict[str, Any]) -> None:
    read = json.JSONDecoder(parse_float=lambda digits: {"number": digits}).decode
    made = recoded([spelled(value)])
    if made is not None:
        assert [one.encode() for one in made] == [canonical(read(spelled(value)))]


@pytest.mark.parametrize(
    "text",
    ['{"😀": 1}', '{"a": 9007199254740993}', '{"a": ' + "9" * 5000 + "}", "[" * 9000 + "]" * 9000],
)
def test_what_the_fast_way_can_not_do_it_leaves(text: str) -> None:
    assert recoded(["{}", text]) is None


def test_ordinary_changes_go_the_fast_way() -> None:
    odd = json.dumps({"c": ',"\\u0000",'})
    made = recoded(['{"b": ["1.50", null], "a": [true, 3]}', odd, "7"])
    assert made == [
        '{"a":[true,3],"b":["1.50",null]}',
        json.dumps({"c": ',"\\u0000",'}, separators=(",", ":")),
        "7",
    ]
    assert recoded([]) == []


@pytest.mark.django_db
@pytest.mark.usefixtures("_entry_with_text")
def test_what_one_value_can_not_hold_is_made_entry_by_entry(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ids = list(Entry.objects.values_list("id", flat=True))
    made = made_by_id(ids)
    monkeypatch.setattr(payload, "_LINES", "string_agg(repeat('x', 600000000), ''), " * 5 + "''")
    slow = made_by_id(ids)
    assert slow.in_order(slow.ids) == made.in_order(made.ids)


@pytest.mark.django_db
@pytest.mark.usefixtures("sample_tables", "only_ours")
def test_a_row_of_entries_is_in_order_by_whatever_way_they_come(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """SQL promises nothing of what an aggregate makes of the order in its subquery."""
    shelves(3)
    ids = list(Entry.objects.order_by("pk").values_list("pk", flat=True))
    backwards = payload._MADE_IN_A_ROW.replace("ORDER BY e.id", "ORDER BY e.id DESC")
    monkeypatch.setattr(payload, "_MADE_IN_A_ROW", backwards)
    made = payload.made_in_a_row(ids[0], ids[-1])
    assert made.ids == ids
    assert [json.loads(one)["id"] for one in made.payloads] == ids
