"""The pages say from when on entries are kept here, and where older ones are."""

from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from audit.capture.models import Entry
from audit.ledger.checkpoint import read_receipt
from audit.ledger.merkle import leaf_hash
from audit.proving.api import provable
from audit.registry import Registry
from audit.retention.models import Archive
from audit.sealing.seal import seal
from tests.audit.months import begin_in, roll_at
from tests.audit.reading.test_pages import text_of
from tests.audit.retention.test_archive import archive, folder
from tests.audit.sealed import shelves
from tests.cast import ApiAs, Cast, SignedIn

__all__ = ["folder"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables")]


@pytest.fixture
def old(desk: Registry, cast: Cast, folder: Path) -> Entry:
    """One of a month that is archived; the cast itself was made in that month."""
    begin_in("2021-01")
    shelves(3)
    while seal():
        pass
    gone = Entry.objects.get(subject="S2", table_name="sample_shelf")
    roll_at("2021-02")
    archive(folder, "2021-02")
    return gone


@pytest.fixture
def owner(cast: Cast, signed_in: SignedIn) -> Client:
    return signed_in(cast.owner)


@pytest.fixture
def made(old: Entry) -> Archive:
    return Archive.objects.get()


def test_nothing_is_said_before_anything_is_archived(
    desk: Registry, cast: Cast, owner: Client
) -> None:
    for address in (reverse("audit:history"), reverse("audit:ledger")):
        assert "Older entries" not in text_of(owner, address)


def test_the_history_says_since_when_it_is_kept_here(made: Archive, owner: Client) -> None:
    page = text_of(owner, reverse("audit:history"))
    assert "Kept here is what was written after" in page
    assert f"Older entries, {made.entries} of them, are archived" in page
    assert "Archived a month of the history" in page
    assert "history-2021-01.jsonl" in page


def test_the_ledger_page_lists_the_files(made: Archive, owner: Client) -> None:
    page = text_of(owner, reverse("audit:ledger"))
    for words in ("2021-01", made.file, made.sha256, "--archive history-*.jsonl"):
        assert words in page


def test_an_archived_entry_says_where_it_is(
    old: Entry, owner: Client, api_as: ApiAs, cast: Cast
) -> None:
    words = f"Entry {old.pk} is archived: it is in the file history-2021-01.jsonl"
    assert words in text_of(owner, reverse("audit:entry", args=[old.pk]), status=404)
    answer = api_as(cast.owner).get(reverse("audit_api:entry", args=[old.pk]))
    assert answer.status_code == 404
    assert words in answer.content.decode()
    assert "no such entry" in text_of(owner, reverse("audit:entry", args=[10**12]), status=404)


def test_what_has_only_archived_entries_says_so(old: Entry, owner: Client) -> None:
    address = reverse("audit:timeline", args=[old.subject_type, old.subject_id])
    assert "Older entries are archived" in text_of(owner, address, status=404)


def test_receipt_and_proof_of_an_archived_entry(
    old: Entry, owner: Client, api_as: ApiAs, cast: Cast, signed_in: SignedIn, folder: Path
) -> None:
    receipt = owner.get(reverse("audit:receipt", args=[old.pk]))
    lines = (folder / "history-2021-01.jsonl").read_bytes().splitlines()
    (payload,) = [line for line in lines if b'"id":%d,' % old.pk in line]
    told = api_as(cast.owner).get(reverse("audit_api:proof", args=[old.pk])).json()
    assert told["payload"] is None
    assert told["receipt"] == receipt.content.decode()
    assert read_receipt(told["receipt"]).covers(leaf_hash(payload))
    # Whose site it is about is not known here, so nobody else may have it.
    assert signed_in(cast.shop_lead).get(reverse("audit:receipt", args=[old.pk])).status_code == 403
    assert not provable(old.pk, frozenset({cast.site.pk, cast.other_site.pk}))
    assert provable(old.pk, None)
