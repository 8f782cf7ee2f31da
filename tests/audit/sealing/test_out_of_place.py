"""A row put beside the leaves of the tree by hand keeps no entry from being sealed unnoticed."""

import pytest
from django.db import IntegrityError

from audit.capture.models import Entry
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.sealing.lateness import waiting_now
from audit.sealing.seal import seal
from tests.audit.sample import run
from tests.audit.sealed import ALL, shelves, unguarded

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("sealed_some")]


@pytest.fixture
def sealed_some(sample_tables: None, transactional_db: None) -> None:
    """Forty entries sealed, with the key's own."""
    unguarded(f"TRUNCATE {ALL}")
    shelves(40)
    assert seal() + seal() == 40 + 1


def claimed(index: int) -> None:
    """An entry that waits, and that a row at this place says is sealed."""
    shelves(1)
    pk = Entry.objects.latest("pk").pk
    run("SET session_replication_role = replica")
    run("INSERT INTO audit_leaf (index, entry_id, hashes) VALUES (%s, %s, sha256('x'))", index, pk)
    run("SET session_replication_role = origin")


def test_before_the_first_leaf() -> None:
    claimed(-5)
    with pytest.raises(IntegrityError, match="sealed already"):
        seal()
    assert waiting_now().waiting == 1


@pytest.mark.parametrize("index", [1, 31, 39])
def test_within_what_stands_together(index: int) -> None:
    claimed(index)
    shelves(1)
    assert seal() == 1
    assert waiting_now().waiting == 0
    assert not verify(bundle()).intact
