"""The old history proves itself, and every old signature still fits what was signed."""

from collections import Counter

import pytest
from django.test import Client

from audit.capture.models import Entry
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.reading.named import page_of_thing
from audit.registry import content_of, registry
from audit.sealing.keys import verifiers
from audit.sealing.models import Checkpoint
from audit.sealing.payload import FIELDS
from audit.sealing.rotate import rotate
from audit.sealing.seal import seal
from people.signatures.content import SAME
from people.signatures.models import Signature
from tests.before.conftest import People
from tests.before.old_database import Dump


def test_the_whole_export_is_intact(before: People) -> None:
    report = verify(bundle(), since=list(Checkpoint.objects.values_list("note", flat=True)))
    assert report.intact, "\n".join(report.lines())
    assert report.proven >= 871


def test_sealing_goes_on_where_it_was(before: People) -> None:
    kept = Checkpoint.objects.latest("id").note
    rotate(by=None, lost=True, reason="The old key was not restored.")
    with_the_new_key = seal()
    report = verify(bundle(), since=[kept], keys=verifiers())
    assert with_the_new_key > 0
    assert report.intact, "\n".join(report.lines())


def test_every_signature_still_verifies(before: People) -> None:
    signatures = [registry.signature(pk) for pk in Signature.objects.values_list("pk", flat=True)]
    contents = {signed.pk: content_of(signed) for signed in signatures if signed}
    assert set(contents.values()) == {SAME}, contents
    meanings = Counter(Signature.objects.values_list("meaning", flat=True))
    assert meanings == {"re_translated": 5, "approved": 10, "published": 4, "permitted": 1}


def test_every_subject_of_the_history_has_its_pages(before: People) -> None:
    browser = Client()
    browser.force_login(before.owner)
    subjects = Entry.objects.exclude(subject_id=None).values_list("subject_type", "subject_id")
    opened = Counter[str]()
    for kind, pk in sorted(set(subjects)):
        addresses = [f"/history/of/{kind}/{pk}/", page_of_thing(kind, pk)]
        for address in filter(None, addresses):
            assert browser.get(address, follow=True).status_code == 200, address
            opened[kind] += 1
    assert {"recipe", "publication", "permit", "slot", "person"} <= set(opened)
    assert opened["slot"] > 100, opened


@pytest.mark.parametrize("address", ["/", "/history/", "/history/ledger/", "/history/intact/"])
def test_the_pages_of_the_whole_open(before: People, address: str) -> None:
    browser = Client()
    browser.force_login(before.owner)
    assert browser.get(address).status_code == 200


def test_entries_of_every_kind_open(before: People) -> None:
    browser = Client()
    browser.force_login(before.owner)
    kinds = Entry.objects.order_by("action", "table_name", "operation", "-id")
    for pk in kinds.distinct("action", "table_name", "operation").values_list("pk", flat=True):
        assert browser.get(f"/history/{pk}/").status_code == 200, pk


def test_what_is_sealed_of_an_entry_is_what_always_was(dump: Dump) -> None:
    """Names and order of what the canonical bytes are made of, whatever fields are called today."""
    (entries,) = (table for table in dump.tables if table.name == "audit_entry")
    assert tuple(entries.columns.split(", ")) == FIELDS
