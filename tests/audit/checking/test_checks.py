"""'Is the history intact?': what a check finds, who may ask, one at a time, what a kill leaves."""

import uuid
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.test import Client

from audit.capture.models import Entry
from audit.checking import run as running
from audit.checking.actions import CHECKS, SILENT, start_check
from audit.checking.models import HistoryCheck
from audit.errors import Invalid, NotPermitted, Refused
from audit.exporting.bundle import bundle
from audit.ledger.note import Signer
from audit.sealing import store
from audit.sealing.keys import DamagedError
from audit.sealing.memory import state_file
from audit.sealing.models import Checkpoint, LedgerKey
from audit.sealing.seal import seal
from audit.tasks import take_up_checks
from people.persons.models import User
from tests.audit.sample import run
from tests.audit.sealed import entry_at, last_checkpoint, shelves, unguarded
from tests.cast import Cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables")]


@pytest.fixture
def browser(cast: Cast) -> Client:
    """An owner's, before a history sealed in two steps."""
    unguarded("TRUNCATE audit_entry, audit_leaf, audit_node, audit_checkpoint, audit_ledgerkey")
    for batch in (5, 7):
        shelves(batch)
        seal()
    client = Client()
    client.force_login(cast.owner)
    return client


def checked(cast: Cast, since: str = "", key: str = "") -> HistoryCheck:
    """Asked for, run and read again."""
    made = start_check(by=cast.owner, since=since, key=key)
    assert run_check(made.pk)
    made.refresh_from_db()
    return made


def run_check(pk: int) -> bool:
    """As a worker does, after the sealer: here, who asks and who runs share a transaction."""
    seal()
    return running.run_check(pk)


def nobody_is_at_it() -> None:
    seconds = int(SILENT.total_seconds()) + 1
    run("UPDATE audit_historycheck SET seen_at = seen_at - %s * interval '1 second'", seconds)


def page(client: Client, address: str) -> str:
    return unescape(client.get(address).content.decode())


def test_an_untouched_history_is_intact(browser: Client, cast: Cast) -> None:
    answer = browser.post("/history/intact/", {})
    assert (answer.status_code, answer["Location"]) == (302, "/history/intact/")
    (made,) = HistoryCheck.objects.all()
    assert "Asked for" in page(browser, "/history/intact/")
    assert run_check(made.pk)
    made.refresh_from_db()
    sealed = store.size()
    assert (made.state, made.intact) == ("done", True), made.findings
    assert made.proven == made.size == sealed
    told = page(browser, "/history/intact/")
    assert f"is intact: all {sealed} entries" in told
    assert "no checkpoint from outside" in told
    words = set(Entry.objects.filter(subject_type="history_check").values_list("action", flat=True))
    assert words == {"history.check_asked", "history.checked"}


def test_what_was_done_to_entries_is_named_and_linked(browser: Client, cast: Cast) -> None:
    altered, gone = (entry_at(at) for at in (2, 8))
    unguarded("UPDATE audit_entry SET actor = 'Nobody' WHERE id = %s", altered)
    unguarded("DELETE FROM audit_entry WHERE id = %s", gone)
    unguarded(
        "INSERT INTO audit_entry (operation, actor, txid, changes)"
        " VALUES ('created', 'Forger', 3, '{}')"
    )
    forged = Entry.objects.get(actor="Forger").pk
    made = checked(cast)
    assert made.intact is False
    assert made.counts.items() >= {"altered": 1, "missing": 1, "inserted": 1}.items()
    told = page(browser, f"/history/intact/{made.pk}/")
    assert "Entry no. 3 is not what was sealed" in told
    assert "Entry no. 9: sealed, but not here" in told
    assert f"/history/{altered}/" in told
    assert f"/history/{forged}/" in told
    assert f"/history/{gone}/" not in told
    assert "NOT proven intact" in told


def test_a_history_cut_back_needs_a_checkpoint_from_outside(browser: Client, cast: Cast) -> None:
    earlier, kept = Checkpoint.objects.order_by("id")
    first = entry_at(earlier.size)
    unguarded("DELETE FROM audit_checkpoint WHERE id = %s", kept.pk)
    unguarded("DELETE FROM audit_leaf WHERE index >= %s", earlier.size)
    unguarded('DELETE FROM audit_node WHERE ("offset" + 1) * (1 << level) > %s', earlier.size)
    unguarded("DELETE FROM audit_entry WHERE id >= %s", first)
    with pytest.raises(DamagedError):
        seal()  # the signer knows better; from here on it doesn't, as on another machine
    state_file().unlink()
    assert checked(cast).intact
    found = checked(cast, since=kept.note)
    assert (found.intact, found.counts["cut off"]) == (False, 1)


@pytest.mark.parametrize("way", ["pasted", "mailed", "file"])
def test_a_kept_checkpoint_comes_back_as_people_have_it(
    browser: Client, cast: Cast, way: str
) -> None:
    note = last_checkpoint().note
    mail = f"Keep this mail.\r\n{'-' * 70}\r\n" + note.replace("\n", "\r\n")
    sent: dict[str, dict[str, object]] = {
        "pasted": {"since": note.strip()},
        "mailed": {"since": mail},
        "file": {"since_file": SimpleUploadedFile("checkpoint-12.txt", note.encode())},
    }
    assert browser.post("/history/intact/", sent[way]).status_code == 302
    made = HistoryCheck.objects.get()
    assert made.since == note
    run_check(made.pk)
    assert "Fits the checkpoint you kept" in page(browser, "/history/intact/")


@pytest.mark.parametrize(
    ("field", "sent"),
    [
        ("since", {"since": "nonsense"}),
        ("since", {"since": "a\x00b"}),
        ("since", {"since": "x" * 30_000}),
        ("since_file", {"since_file": SimpleUploadedFile("c.txt", b"\xff\xfe")}),
        ("since_file", {"since_file": SimpleUploadedFile("c.txt", b"x" * 30_000)}),
        ("key", {"key": "not+a+key"}),
    ],
)
def test_what_is_no_checkpoint_is_said_at_its_field(
    browser: Client, field: str, sent: dict[str, object]
) -> None:
    answer = browser.post("/history/intact/", sent)
    assert answer.status_code == 400
    assert list(answer.context["form"].errors) == [field]
    assert not HistoryCheck.objects.exists()


def test_another_signing_key_is_not_believed(browser: Client, cast: Cast) -> None:
    other = "x/y+c47e5ab2+AZAFxjNpf6ZtYv1lFn1cMOG4Pgwgj5Hfz8gxkYYTJWiG"
    with pytest.raises(Invalid, match="key"):
        start_check(by=cast.owner, key=other[:-2])
    from audit.ledger.note import Signer  # noqa: PLC0415

    stranger = Signer("stranger", b"\x07" * 32).verifier.text
    assert checked(cast, key=stranger).intact is False


def test_two_at_once(browser: Client, cast: Cast) -> None:
    first = start_check(by=cast.owner)
    with pytest.raises(Refused, match="under way already, asked for by"):
        start_check(by=cast.owner)
    answer = browser.post("/history/intact/", {})
    assert (answer.status_code, HistoryCheck.objects.count()) == (409, 1)
    assert "under way already" in unescape(answer.content.decode())
    assert take_up_checks_here() == [first.pk]


def take_up_checks_here() -> list[int]:
    """The sweep, its tasks left out: there is no worker in this test."""
    from unittest.mock import patch  # noqa: PLC0415

    with patch("audit.tasks.send_unless_waiting"):
        return take_up_checks()


def test_what_a_killed_worker_leaves_is_taken_up_anew(
    browser: Client, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = start_check(by=cast.owner)
    held = CHECKS.claim(made.pk)
    assert held
    assert not run_check(made.pk), "somebody is at it"
    assert take_up_checks_here() == []
    nobody_is_at_it()
    assert "Interrupted" in page(browser, "/history/intact/")
    assert take_up_checks_here() == [made.pk]
    assert run_check(made.pk)
    made.refresh_from_db()
    assert (made.state, made.attempts, made.intact) == ("done", 2, True)
    assert not CHECKS.end(held, action="history.checked", state="done"), "it lost its place"


def test_one_that_nobody_is_at_can_be_asked_for_again(browser: Client, cast: Cast) -> None:
    left = start_check(by=cast.owner)
    nobody_is_at_it()
    anew = start_check(by=cast.owner)
    left.refresh_from_db()
    assert (left.state, anew.state) == ("stopped", "running")
    assert run_check(anew.pk)
    assert "Earlier answers" in page(browser, "/history/intact/")


def test_one_taken_over_ends_without_an_answer(
    browser: Client, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(running, "EVERY", -1.0)
    made = start_check(by=cast.owner)

    def stolen() -> object:
        run("UPDATE audit_historycheck SET runner = 'other'")
        return bundle()

    monkeypatch.setattr(running, "bundle", stolen)
    assert not run_check(made.pk)
    made.refresh_from_db()
    assert (made.state, made.intact) == ("running", None)


def test_it_says_how_far_it_is(
    browser: Client, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(running, "EVERY", -1.0)
    told: list[int] = []
    plain = running._progress

    def heard(held: HistoryCheck) -> object:
        tell = plain(held)

        def both(lines: int) -> None:
            tell(lines)
            told.append(HistoryCheck.objects.get(pk=held.pk).checked)

        return both

    monkeypatch.setattr(running, "_progress", heard)
    made = checked(cast)
    assert told == sorted(told)
    assert 0 < told[-1] <= made.size


def test_a_verdict_stays(browser: Client, cast: Cast) -> None:
    made = checked(cast)
    for sql in (
        "UPDATE audit_historycheck SET intact = false",
        "UPDATE audit_historycheck SET asked_by = 'other'",
        "DELETE FROM audit_historycheck",
        "TRUNCATE audit_historycheck",
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            run(sql)
    made.refresh_from_db()
    assert made.intact


def test_for_owners_of_every_site(browser: Client, cast: Cast) -> None:
    made = checked(cast)
    cast.owner.assignments.update(site=cast.site)
    for address in ("/history/intact/", f"/history/intact/{made.pk}/"):
        assert browser.get(address).status_code == 403
    assert browser.post("/history/intact/").status_code == 403
    for person in (cast.owner, cast.head_roaster):
        with pytest.raises(NotPermitted):
            start_check(by=User.objects.get(pk=person.pk))
    assert HistoryCheck.objects.count() == 1


def test_the_part_that_asks_for_itself(browser: Client, cast: Cast) -> None:
    made = start_check(by=cast.owner)
    part = browser.get(f"/history/intact/{made.pk}/", headers={"HX-Request": "true"})
    text = part.content.decode()
    assert "hx-trigger" in text
    assert "<html" not in text
    run_check(made.pk)
    part = browser.get(f"/history/intact/{made.pk}/", headers={"HX-Request": "true"})
    assert "hx-trigger" not in part.content.decode()


def test_over_the_api(browser: Client, cast: Cast) -> None:
    key = {"Idempotency-Key": uuid.uuid4().hex}
    first, again = (
        browser.post("/api/v1/history/checks/", {}, "application/json", headers=key)
        for _ in range(2)
    )
    assert (first.status_code, first.json()["id"]) == (201, again.json()["id"])
    run_check(first.json()["id"])
    told = browser.get(f"/api/v1/history/checks/{first.json()['id']}/").json()
    assert (told["state"], told["intact"]) == ("done", True)
    assert told["findings"][0]["kind"] == "note"
    assert browser.get("/api/v1/history/checks/").json()["results"][0] == told
    other = {"Idempotency-Key": uuid.uuid4().hex}
    bad = browser.post("/api/v1/history/checks/", {"since": "x"}, "application/json", headers=other)
    assert (bad.status_code, "since" in str(bad.json())) == (400, True)


def test_the_first_line_says_what_was_pinned(browser: Client, cast: Cast) -> None:
    assert "No signing key was pinned" in checked(cast).verdict
    key, kept = LedgerKey.objects.get().public, last_checkpoint()
    found = checked(cast, since=kept.note, key=key)
    assert found.intact
    named = "+".join(key.split("+")[:2])
    assert f"Pinned: the signing key {named}, a checkpoint of {kept.size}" in found.verdict
    other = checked(cast, key=Signer.new("elsewhere").verifier.text)
    assert not other.intact
    assert "signed by ANOTHER key than the one pinned" in page(browser, "/history/intact/")
