"""Proofs, receipts and exports as people get them, and who may."""

import csv
import io
import json
from base64 import b64decode
from email import message_from_bytes
from email.policy import default
from hashlib import sha256
from html import unescape

import pytest
from django.core import mail
from django.test import Client
from pytest_django import Settings

from audit.capture.models import Entry
from audit.checking.actions import note_in
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.ledger.checkpoint import read_receipt
from audit.ledger.merkle import leaf_hash
from audit.ledger.proof import extends, includes
from audit.sealing import lateness as lag
from audit.sealing.keys import origin
from audit.sealing.lateness import waiting_now
from audit.sealing.models import Checkpoint, Leaf, LedgerKey
from audit.sealing.seal import seal
from audit.tasks import mail_checkpoint
from people.persons.models import User
from people.tokens.models import Scope
from tests.audit.sealing.conftest import last_checkpoint, shelves, unguarded
from tests.cast import ApiAs, Cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables")]


@pytest.fixture
def owner(cast: Cast) -> Client:
    """Signed in, before a history of some entries sealed in two steps."""
    unguarded("TRUNCATE audit_entry")
    shelves(5)
    seal()
    shelves(7)
    seal()
    return signed_in(cast.owner)


def signed_in(person: User) -> Client:
    browser = Client()
    browser.force_login(person)
    return browser


def body(answer: object) -> bytes:
    return b"".join(getattr(answer, "streaming_content", ()))


def test_an_entry_is_proven(owner: Client) -> None:
    for leaf in Leaf.objects.all():
        told = owner.get(f"/api/v1/ledger/entries/{leaf.entry_id}/proof/").json()
        assert sha256(b"\0" + told["payload"].encode()).digest() == b64decode(told["leaf"])
        leaf_, root, *proof = map(b64decode, [told["leaf"], told["root"], *told["proof"]])
        assert includes(leaf=leaf_, index=told["index"], size=told["size"], root=root, proof=proof)
        receipt = owner.get(f"/history/{leaf.entry_id}/receipt/").content.decode()
        assert receipt == told["receipt"]
        assert read_receipt(receipt).covers(leaf_hash(told["payload"].encode()))


def test_two_states_are_proven_consistent(owner: Client) -> None:
    told = owner.get("/api/v1/ledger/checkpoints/").json()["results"]
    assert [one["note"] for one in told] == list(
        Checkpoint.objects.order_by("-id").values_list("note", flat=True)
    )
    new, old = told[0], told[-1]
    answer = owner.get(f"/api/v1/ledger/consistency/?from={old['size']}&to={new['size']}").json()
    then, now, *proof = map(b64decode, [old["root"], new["root"], *answer["proof"]])
    assert extends(old=old["size"], new=new["size"], old_root=then, new_root=now, proof=proof)


@pytest.mark.parametrize(
    "query",
    [
        *("", "?from=1", "?from=9&to=3", "?from=1&to=99999", "?from=x&to=2", "?from=-1&to=2"),
        *("?from=1&to=²", f"?from=0&to={'9' * 400}", f"?from=0&to={'0' * 20}{'9' * 4400}"),
    ],
)
def test_what_can_not_be_proven_is_said(owner: Client, query: str) -> None:
    assert owner.get(f"/api/v1/ledger/consistency/{query}").status_code == 400
    assert owner.get(f"/api/v1/ledger/entries/{2**62}/proof/").status_code == 404


def test_pages_show_the_seal(owner: Client) -> None:
    pk = Leaf.objects.get(index=2).entry_id
    page = owner.get(f"/history/{pk}/").content.decode()
    assert "Entry no. 3 of the" in page
    page = owner.get("/history/ledger/").content.decode()
    assert last_checkpoint().note in unescape(page)
    assert "Every entry is sealed" in page
    assert owner.get("/history/ledger/checkpoint/").content.decode() == last_checkpoint().note


def test_what_is_not_sealed_raises_the_alarm_when_late(owner: Client, settings: Settings) -> None:
    shelves(1)
    pk = Entry.objects.latest("id").pk
    assert "Not sealed yet" in owner.get(f"/history/{pk}/").content.decode()
    assert "Late" not in owner.get("/history/ledger/").content.decode()
    assert "1 of the newest entries waits to be sealed" in owner.get("/history/").content.decode()
    assert "that wait to be sealed" not in owner.get("/").content.decode()
    settings.LEDGER_LATE = -1
    assert "Late" in owner.get("/history/ledger/").content.decode()
    assert "1 of the newest entries is not sealed" in owner.get("/history/").content.decode()
    assert "Entries that wait to be sealed: 1." in owner.get("/").content.decode()
    assert owner.get(f"/history/{pk}/receipt/").status_code == 404


def test_what_waits_is_counted_from_both_ends_and_no_further(
    owner: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The transaction under way holds the floor back: sealed entries lie above it."""
    seal()
    assert waiting_now().waiting == 0
    shelves(20)
    assert (waiting_now().waiting, waiting_now().counted) == (20, "20")
    monkeypatch.setattr(lag, "COUNTED", 4)
    assert (waiting_now().waiting, waiting_now().counted) == (4, "more than 4")


def test_the_whole_history_checks_offline(owner: Client) -> None:
    exported = body(owner.get("/history/ledger/bundle/")).splitlines(keepends=True)
    report = verify(exported, since=[last_checkpoint().note])
    assert report.intact
    assert (report.entries, report.origin) == (Entry.objects.count(), origin())


def test_filtered_exports_hold_what_the_filter_finds(owner: Client) -> None:
    lines = body(owner.get("/history/export/json-lines/?action=database.changed")).splitlines()
    everything = body(owner.get("/history/export/json-lines/")).splitlines()
    assert len(everything) == Entry.objects.count()
    sealed = {bytes(leaf.hash) for leaf in Leaf.objects.all()}
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


def test_others_get_nothing(owner: Client, cast: Cast) -> None:
    pk = Leaf.objects.get(index=2).entry_id
    addresses = [
        *(f"/history/{pk}/receipt/", "/history/ledger/checkpoint/", "/history/ledger/bundle/"),
        f"/api/v1/ledger/entries/{pk}/proof/",
        *(f"/api/v1/history/{kind}/" for kind in ("json-lines", "csv", "bundle")),
    ]
    for person in (cast.barista, cast.shop_lead, cast.technician, cast.head_roaster):
        browser = signed_in(person)
        assert {browser.get(address).status_code for address in addresses} == {403}
    assert {Client().get(address).status_code for address in addresses} == {302, 401}


def test_an_owner_of_one_site_sees_proofs_of_that_site_alone(owner: Client, cast: Cast) -> None:
    cast.owner.assignments.update(site=cast.site)
    here, there = Leaf.objects.order_by("index").values_list("entry_id", flat=True)[:2]
    unguarded("UPDATE audit_entry SET site_id = %s WHERE id = %s", cast.site.pk, here)
    assert owner.get(f"/history/{here}/receipt/").status_code == 200
    assert owner.get(f"/history/{there}/receipt/").status_code == 404
    assert owner.get(f"/api/v1/ledger/entries/{there}/proof/").status_code == 404
    assert owner.get("/history/ledger/bundle/").status_code == 403
    assert owner.get("/api/v1/history/bundle/").status_code == 403
    exported = body(owner.get("/history/export/json-lines/")).splitlines()
    assert {json.loads(line)["site_id"] for line in exported} <= {cast.site.pk, None}


def test_the_checkpoint_is_mailed_outside(owner: Client, settings: Settings) -> None:
    assert mail_checkpoint() == 0
    settings.LEDGER_MAIL_TO = ["keeper@example.org"]
    assert mail_checkpoint() == 1
    assert mail.outbox[0].to == ["keeper@example.org"]
    assert last_checkpoint().note in mail.outbox[0].body


def test_the_mail_as_it_was_sent_is_what_a_check_takes(
    owner: Client, cast: Cast, settings: Settings
) -> None:
    """As an outside mailbox keeps it: encoded for transport, read back, pasted whole."""
    settings.LEDGER_MAIL_TO = ["keeper@example.org"]
    mail_checkpoint()
    received = message_from_bytes(mail.outbox[0].message().as_bytes(), policy=default)
    assert str(received["To"]) == "keeper@example.org"
    text = received.get_content()
    assert "Signing key: " + LedgerKey.objects.get().public in text
    assert note_in(text) == last_checkpoint().note
    shelves(3)
    seal()
    assert verify(bundle(), since=[note_in(text)]).intact
    unguarded("UPDATE audit_entry SET actor = 'Nobody' WHERE id = %s",
              Leaf.objects.get(index=1).entry_id)  # fmt: skip
    assert not verify(bundle(), since=[note_in(text)]).intact
