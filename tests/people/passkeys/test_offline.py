"""Signatures by passkey proven from a bundle alone: no server, no database, no trust in either."""

import json
from collections.abc import Callable

import pytest
from django.db import connection, transaction

from audit.capture.models import Entry
from audit.ledger.bundle.check import verify
from audit.ledger.bundle.report import Kind, Report
from audit.ledger.canonical import canonical
from audit.sealing.payload import payload_by_id
from people.signatures.models import Signature
from tests.audit.ledger.histories import KEY, History
from tests.people.passkeys.device import Device
from tests.people.passkeys.test_signing_by_passkey import COPY, FORGED

IS_SIGNATURE = b'"table_name":"people_signature"'
Change = Callable[[dict[str, object]], None]


def history(change: Change | None = None) -> History:
    """What this database's history says by now, sealed; first changed, as by who has the key."""
    entries = [json.loads(payload_by_id(pk) or b"") for pk in _ids()]
    for entry in entries:
        if change:
            change(entry)
    made = History()
    made.take([canonical(entry) for entry in entries])
    return made


def _ids() -> list[int]:
    return list(Entry.objects.order_by("pk").values_list("pk", flat=True))


def check(change: Change | None = None) -> Report:
    """The offline check of it."""
    return verify(history(change).bundle(), keys=[KEY.verifier])


def told(report: Report, kind: Kind = Kind.SIGNATURE) -> list[str]:
    """What it says of signatures."""
    return [one.words for one in report.findings if one.kind is kind]


def test_a_signature_proves_itself(signed: Signature) -> None:
    report = check()
    assert report.intact, list(report.lines())
    assert told(report, Kind.NOTE) == [
        "signatures by passkey: 1 prove themselves by the keys in this history"
    ]


def test_a_key_removed_later_still_proves_it(signed: Signature, device: Device) -> None:
    device.taken_from(signed.user)
    assert check().intact


def test_sql_without_the_private_key_is_found(signed: Signature) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(COPY.format("""replace(statement, '"subject_id":7', '"subject_id":8')"""))
        cursor.execute(FORGED.format("(SELECT max(id) FROM people_assertion)"))
    report = check()
    assert not report.intact
    assert ["answered another question" in words for words in told(report)] == [True]


def columns_of(entry: dict[str, object], table: str) -> dict[str, list[object]]:
    """The changes of an entry about that table; those of any other are thrown away."""
    changes: dict[str, list[object]] = entry["changes"]  # type: ignore[assignment]
    return changes if entry["table_name"] == table else {}


@pytest.mark.parametrize("column", ["digest", "meaning", "name", "note", "subject_id", "role"])
def test_who_rewrites_the_history_with_its_key_can_not_rewrite_the_passkey(
    signed: Signature, column: str
) -> None:
    def change(entry: dict[str, object]) -> None:
        columns = columns_of(entry, "people_signature")
        if columns:
            columns[column] = [None, "8" if column == "subject_id" else "another"]

    report = check(change)
    assert [column.replace("_", " ") in words for words in told(report)] == [True]


def test_another_key_in_the_history_does_not_prove_it(signed: Signature) -> None:
    def change(entry: dict[str, object]) -> None:
        columns = columns_of(entry, "people_keyevent")
        if columns:
            registered = Device(credential=b"k").registered()
            columns["attestation"] = [None, registered["response"]["attestationObject"]]

    assert ["did not sign this" in words for words in told(check(change))] == [True]


def test_without_its_answer_it_is_not_proven(signed: Signature) -> None:
    def change(entry: dict[str, object]) -> None:
        if entry["table_name"] == "people_assertion":
            entry["table_name"] = "people_other"

    assert ["not in this history" in words for words in told(check(change))] == [True]


def test_a_row_changed_afterwards_is_found(signed: Signature) -> None:
    def change(entry: dict[str, object]) -> None:
        if entry["table_name"] == "people_assertion":
            entry["operation"] = "changed"

    assert "a row of people_assertion was changed" in told(check(change))[0]


def test_the_same_answer_under_two_signatures_proves_neither(signed: Signature) -> None:
    made = history()
    twice = [json.loads(one) for one in made.payloads if IS_SIGNATURE in one]
    made.take([canonical(one | {"row_id": 999}) for one in twice])
    assert len(told(verify(made.bundle(), keys=[KEY.verifier]))) == 2


def test_what_leans_on_entries_left_out_is_said_to(signed: Signature) -> None:
    made = history()
    at = next(n for n, one in enumerate(made.payloads) if IS_SIGNATURE in one)
    report = verify(made.bundle([at]), keys=[KEY.verifier])
    assert not told(report)
    assert "1 lean on entries left out" in told(report, Kind.NOTE)[-1]


def test_a_key_added_by_sql_is_remarked_on(signed: Signature) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO mfa_authenticator (user_id, type, data, created_at)"
            " VALUES (%s, 'webauthn', '{\"name\": \"Spare\"}', now())", [signed.user_id]
        )  # fmt: skip
    assert f"the passkey “Spare” of person {signed.user_id} was added by “database”" in told(
        check(), Kind.NOTE
    )
