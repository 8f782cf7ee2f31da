"""What is not sealed in time is said, and the newest checkpoint is mailed outside."""

from email import message_from_bytes
from email.policy import default

import pytest
from django.core import mail
from django.test import Client
from pytest_django import Settings

from audit.capture.models import Entry
from audit.checking.actions import note_in
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.sealing import lateness as lag
from audit.sealing.lateness import waiting_now
from audit.sealing.models import LedgerKey
from audit.sealing.seal import seal
from audit.tasks import mail_checkpoint
from tests.audit.sealed import entry_at, last_checkpoint, shelves, unguarded
from tests.cast import Cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables")]


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
              entry_at(1))  # fmt: skip
    assert not verify(bundle(), since=[note_in(text)]).intact
