"""Who saw which state: in bundles, receipts and the API, on pages, and where somebody wrote it."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone
from pytest_django import Settings

from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.ledger.checkpoint import read_receipt
from audit.ledger.witness.cosignature import cosignatures
from audit.sealing.keys import verifiers
from audit.witnessing.models import Cosignature
from audit.witnessing.offering import offer_newest
from audit.witnessing.standing import unwitnessed, witnessing_now
from tests.audit.sealed import last_checkpoint, sealed_ids
from tests.audit.witnessing.conftest import Starter, history, sealed
from tests.cast import Cast
from web.metrics import Figures

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]


def said() -> list[str]:
    return [alarm.words for alarm in unwitnessed()]


def test_bundles_carry_cosignatures_and_the_check_says_who_saw_what(
    start_witness: Starter,
) -> None:
    history(5)
    first = start_witness("one.example")
    offer_newest()
    second = start_witness("two.example")
    history(4)
    offer_newest()
    seen = last_checkpoint().size
    sealed()
    report = verify(bundle(), keys=verifiers(), witnesses=[first.known.key, second.known.key])
    assert (report.intact, report.witnessed) == (True, seen)
    without = verify(bundle(), keys=verifiers())
    assert without.intact


def test_cosignatures_that_are_no_lines_do_not_spoil_a_checkpoint(start_witness: Starter) -> None:
    """Whoever may write SQL as the program may add rows: they must not discredit what is true."""
    history(5)
    witness = start_witness()
    offer_newest()
    sealed()
    newest = last_checkpoint()
    offer_newest()
    for number, line in enumerate(["nonsense\n", "\n\n\u2014 a b\n", "\u2014 x AAAA\n"]):
        Cosignature.objects.create(
            checkpoint_id=newest.pk, size=newest.size, witness=f"k{number}", line=line,
            at=newest.made_at + timedelta(seconds=1),
        )  # fmt: skip
    report = verify(bundle(), keys=verifiers(), witnesses=[witness.known.key])
    assert (report.intact, report.witnessed) == (True, newest.size)


def test_receipts_and_the_api_carry_cosignatures(start_witness: Starter, cast: Cast) -> None:
    """A receipt under the newest state a witness saw; what came later under the newest."""
    history(5)
    witness = start_witness()
    offer_newest()
    seen, early = last_checkpoint(), sealed_ids()[2]
    history(4)
    browser = Client()
    browser.force_login(cast.owner)
    receipt = read_receipt(browser.get(f"/history/{early}/receipt/").content.decode())
    assert receipt.checkpoint == seen.note + Cosignature.objects.get().line
    assert cosignatures(receipt.checkpoint, [witness.known.key])
    told = browser.get(f"/api/v1/ledger/entries/{early}/proof/").json()
    assert (told["size"], told["receipt"]) == (seen.size, receipt.text)
    late = sealed_ids()[-1]
    receipt = read_receipt(browser.get(f"/history/{late}/receipt/").content.decode())
    assert receipt.checkpoint == last_checkpoint().note
    listed = browser.get("/api/v1/ledger/checkpoints/").json()["results"]
    carried = {row["size"]: row["cosignatures"] for row in listed}
    assert carried[seen.size] == [Cosignature.objects.get().line]
    assert carried[last_checkpoint().size] == []


def test_rows_that_somebody_wrote_count_for_nothing(start_witness: Starter) -> None:
    """As the program's role, which may add rows: a cosignature that no witness gave."""
    history(5)
    witness = start_witness()
    offer_newest()
    newest = last_checkpoint()
    true = Cosignature.objects.get()
    for row in (
        Cosignature(checkpoint_id=newest.pk, size=newest.size + 90, line=true.line),
        Cosignature(checkpoint_id=newest.pk + 1, size=newest.size + 1, line=true.line),
    ):
        row.witness, row.at = true.witness, true.at
        row.save()
    now = witnessing_now()
    assert now
    assert (now.size, now.standings[0].forged) == (newest.size, True)
    assert "does not hold" in said()[0]
    history(4)
    assert offer_newest() == 1
    assert witness.size == last_checkpoint().size


def test_pages_show_who_saw_which_state(
    start_witness: Starter, cast: Cast, settings: Settings
) -> None:
    history(5)
    witness = start_witness()
    offer_newest()
    browser = Client()
    browser.force_login(cast.owner)
    page = browser.get("/history/ledger/").content.decode()
    assert "were seen by 1 of 1 witnesses" in page
    assert witness.known.key.name in page
    note = browser.get("/history/ledger/checkpoint/").content.decode()
    assert note == last_checkpoint().note + Cosignature.objects.get().line
    history(4)
    settings.LEDGER_WITNESS_LATE = -1
    witness.stop()
    offer_newest()
    page = browser.get("/history/ledger/").content.decode()
    assert "Late" in page
    assert "No answer" in page
    assert "was not seen by 1 of 1 witnesses" in browser.get("/").content.decode()
    assert "alarm: The history after" in browser.get("/healthz").content.decode()


def told_delay() -> float:
    """By /metrics."""
    named = {family.name: family.samples[0].value for family in Figures().collect()}
    return float(named["portaledger_witness_delay_seconds"])


def test_the_delay_is_of_what_waits_to_be_seen(
    start_witness: Starter, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert told_delay() == 0, "without any witness nothing waits for one"
    history(5)
    start_witness()
    assert told_delay() > 0, "a witness that never saw anything"
    offer_newest()
    tomorrow = timezone.now() + timedelta(days=1)
    monkeypatch.setattr(timezone, "now", lambda: tomorrow)
    assert told_delay() == 0, "a day on which nothing happens is seen whole"
