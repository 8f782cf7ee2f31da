"""Canonical bytes: every column, one spelling, whatever the table can hold."""

import json
from typing import Any

import pytest
import rfc8785
from django.db import connection

from audit.capture.models import Entry
from audit.ledger.canonical import SAFE_INT
from audit.sealing.payload import FIELDS, payload_by_id
from audit.sealing.seal import seal
from tests.audit.sample import run
from tests.audit.sealed import shelves, unguarded

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]


def payload() -> bytes:
    made = payload_by_id(Entry.objects.latest("id").pk)
    assert made is not None
    return made


def test_every_column_is_in_and_the_bytes_are_those_of_the_standard() -> None:
    shelves(1)
    read: dict[str, Any] = json.loads(payload())
    assert sorted(read) == sorted(FIELDS)
    assert payload() == rfc8785.dumps(read)
    entry = Entry.objects.latest("id")
    assert read["at"] == entry.at.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    assert read["changes"] == {"name": [None, "S1"], "site_id": [None, "3"]}


@pytest.mark.parametrize("field", [name for name in FIELDS if name != "id"])
def test_a_change_of_any_column_changes_the_bytes(field: str) -> None:
    shelves(1)
    unguarded("UPDATE audit_entry SET parameter = 'dose_mass', client_addr = '192.0.2.1'")
    before = payload()
    changed = {
        "at": "at + interval '1 microsecond'",
        "client_addr": "client_addr + 1",
        "changes": """'{"name": [null, "S2"], "site_id": [null, "3"]}'""",
        "operation": "'changed'",
        "road": "'page'",
    }
    numbers = {"txid", "actor_id", "row_id", "subject_id", "site_id", "signature_id"}
    new = changed.get(field, f"coalesce({field}, 0) + 1" if field in numbers else f"{field} || 'x'")
    unguarded(f"UPDATE audit_entry SET {field} = {new}")
    assert payload() != before


def test_the_session_has_no_say() -> None:
    shelves(1)
    pk, before = Entry.objects.latest("id").pk, payload()
    run("SET LOCAL timezone = 'Asia/Kathmandu'")
    run("SET LOCAL datestyle = 'German'")
    assert payload_by_id(pk) == before


DEEP = "[" * 3000 + "]" * 3000


@pytest.mark.parametrize(
    "changes",
    ['{"a": [1.50, 9007199254740993]}', '{"a": [1e400, -0.0]}', f'{{"a": [{DEEP}, null]}}',
     '{"😀": ["\\u0001\\b", ""], "é": [true, {"z": 1, "a": {}}]}'],
)  # fmt: skip
def test_no_entry_can_hold_up_the_sealing(changes: str) -> None:
    shelves(1)
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        cursor.execute("UPDATE audit_entry SET changes = %s, row_id = %s", [changes, SAFE_INT + 5])
        cursor.execute("SET session_replication_role = origin")
    assert seal() == 1
    if "[[" not in changes:
        assert payload() == rfc8785.dumps(json.loads(payload()))


def test_numbers_that_differ_as_written_differ_as_sealed() -> None:
    shelves(1)
    made = set()
    for value in ('"1.5"', "1.5", "1.50", "15"):
        unguarded(f"""UPDATE audit_entry SET changes = '{{"a": [null, {value}]}}'""")
        made.add(payload())
    assert len(made) == 4
