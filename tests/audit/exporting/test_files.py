"""Exports as people get them: the same bytes on pages and over the API."""

import csv
import io
import json

import pytest
from django.test import Client

from audit.capture.models import Entry
from audit.ledger.bundle.check import verify
from audit.ledger.merkle import leaf_hash
from audit.sealing.keys import origin
from people.tokens.models import Scope
from tests.audit.sealed import body, last_checkpoint, leaf_hashes, unguarded
from tests.cast import ApiAs, Cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables")]


def test_the_whole_history_checks_offline(owner: Client) -> None:
    exported = body(owner.get("/history/ledger/bundle/")).splitlines(keepends=True)
    report = verify(exported, since=[last_checkpoint().note])
    assert report.intact
    assert (report.entries, report.origin) == (Entry.objects.count(), origin())


def test_filtered_exports_hold_what_the_filter_finds(owner: Client) -> None:
    lines = body(owner.get("/history/export/json-lines/?action=database.changed")).splitlines()
    everything = body(owner.get("/history/export/json-lines/")).splitlines()
    assert len(everything) == Entry.objects.count()
    sealed = set(leaf_hashes())
    assert {leaf_hash(line) for line in everything} == sealed
    assert [json.loads(line)["id"] for line in everything] == list(
        Entry.objects.order_by("-id").values_list("id", flat=True)
    )
    assert {json.loads(line)["action"] for line in lines} == {"database.changed"}
    assert len(lines) == Entry.objects.filter(action="database.changed").count()
    assert owner.get("/history/export/csv/?since=nonsense").status_code == 400


def test_the_api_gives_the_same_files(owner: Client, cast: Cast, api_as: ApiAs) -> None:
    for page, call in (
        (
            "/history/export/json-lines/?action=database.changed",
            "/api/v1/history/json-lines/?action=database.changed",
        ),
        (
            "/history/export/csv/?action=database.changed",
            "/api/v1/history/csv/?action=database.changed",
        ),
        ("/history/ledger/bundle/", "/api/v1/history/bundle/"),
    ):
        answer = owner.get(call)
        asked = owner.get(page)
        assert answer.status_code == asked.status_code == 200
        assert (sent := body(answer)) == body(asked)
        assert sent
        assert answer["Content-Type"] == asked["Content-Type"]
        assert "attachment" in answer["Content-Disposition"]
    table = owner.get("/api/v1/history/csv/", headers={"Accept": "text/csv"})
    assert body(table).count(b"\r\n") == Entry.objects.count() + 1
    wrong = owner.get("/api/v1/history/csv/?since=nonsense", headers={"Accept": "text/csv"})
    assert (wrong.status_code, wrong["Content-Type"]) == (400, "application/problem+json")
    assert wrong.json()["problems"][0]["field"] == "since"
    program = api_as(cast.owner, Scope.READ)
    assert body(program.get("/api/v1/history/json-lines/")).count(b"\n") == Entry.objects.count()


def test_a_spreadsheet_runs_nothing(owner: Client) -> None:
    for text in ("=1+1", "+1", "-1", "@x", "\tx", " =1", "plain"):
        unguarded("UPDATE audit_entry SET reason = %s WHERE id = (SELECT min(id) FROM audit_entry)",
                  text)  # fmt: skip
        table = body(owner.get("/history/export/csv/")).decode()
        reason = list(csv.DictReader(io.StringIO(table, newline="")))[-1]["reason"]
        assert reason == (text if text == "plain" else f"'{text}")
