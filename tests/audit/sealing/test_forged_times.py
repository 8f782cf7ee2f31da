"""Entries put in afterwards: sealed with a signed mark, said and alarmed; true ones never are."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client

from audit.alarms import alarms
from audit.capture.models import Entry
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.ledger.bundle.report import Kind, Report
from audit.ledger.stamp import moment
from audit.ledger.window import ENDED, TOO_EARLY, TOO_LATE
from audit.sealing import clock
from audit.sealing import seal as module
from audit.sealing.clock import ClockError
from audit.sealing.late import FOUND_LATE
from audit.sealing.models import SealingEvent, SealingEventKind
from audit.sealing.seal import seal
from tests.audit.sample import empty
from tests.audit.sealed import newest_stamp, sealed_ids, shelves, signed_anew, unguarded
from tests.audit.sealing.test_late import another, write
from tests.cast import Cast

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("sample_tables")]


@pytest.fixture(autouse=True)
def sealed(sample_tables: None, transactional_db: None, key_file: Path) -> Iterator[None]:
    """A history of a few entries, all sealed."""
    shelves(3)
    seal_all()
    yield
    empty()


def seal_all(*, beneath: bool = False) -> None:
    while seal(beneath=beneath):
        pass


FORGE = """
INSERT INTO audit_entry (id, txid, at, db_role, actor, action, operation, changes)
OVERRIDING SYSTEM VALUE VALUES (nextval('audit_entry_id_seq'), coalesce(%s,
    pg_current_xact_id()::text::bigint), now() + %s * interval '1 second', 'program',
    'Head roaster', 'version.approved', 'changed', '{}')
"""


def forge(*, txid: int | None = None, ago: int = 0) -> int:
    """As a superuser may: an entry of that transaction, written so many seconds ago."""
    unguarded(FORGE, txid, -ago)
    return Entry.objects.latest("id").pk


def told(report: Report) -> str:
    return "\n".join(report.lines())


def nth(entry_id: int) -> int:
    return sealed_ids().index(entry_id)


def forge_of_one_that_ended() -> int:
    """Of a transaction that had ended when sealing last looked, above the floor: another one, that
    is still open, holds it back."""
    with another() as slow:
        write(slow, "slow")
        shelves(1)
        seal_all()
        through = newest_stamp().through
        assert through
        assert through.next - 1 > newest_stamp().floor[0]
        forged = forge(txid=through.next - 1)
        seal_all()
        slow.rollback()
    return forged


WAYS: dict[str, Callable[[], int]] = {
    "ended": forge_of_one_that_ended,
    "back-dated": lambda: forge(ago=3600),
    "old": lambda: forge(txid=5, ago=86400),
    "to come": lambda: forge(txid=2**60),
    "ahead": lambda: forge(ago=-3600),
}


@pytest.mark.parametrize("way", WAYS)
def test_what_was_put_in_is_sealed_with_a_signed_mark_an_event_and_an_alarm(
    way: str, cast: Cast
) -> None:
    forged = WAYS[way]()
    why = {"ended": ENDED, "old": ENDED, "back-dated": TOO_EARLY, "ahead": TOO_LATE}
    shelves(2)
    seal_all(beneath=way == "old")
    assert [at for at in range(len(sealed_ids())) if marked(at)] == [nth(forged)]
    report = verify(bundle())
    assert report.intact, told(report)
    (found,) = [one for one in report.findings if one.kind is Kind.LATE]
    assert (found.first, found.last) == (nth(forged) + 1, nth(forged) + 1)
    assert why.get(way, "its transaction had not ended") in found.words
    assert "1 of them was SEALED LATE" in next(report.lines())
    event = SealingEvent.objects.get(kind=SealingEventKind.LATE)
    assert f"no. {nth(forged) + 1}." in event.words
    assert Entry.objects.get(action=FOUND_LATE).pk in sealed_ids()
    assert event.words in {alarm.words for alarm in alarms()}
    browser = Client()
    browser.force_login(cast.owner)
    assert "Sealed late" in unescape(browser.get(f"/history/{forged}/").content.decode())
    listed = unescape(browser.get("/history/").content.decode())
    rows = [row for row in listed.split("<tr") if "Sealed late" in row]
    assert [f"/history/{forged}/" in row for row in rows] == [True], "in lists, and that one alone"
    assert event.words in unescape(browser.get("/history/ledger/").content.decode())
    assert event.words in unescape(browser.get("/").content.decode())


def test_a_timeline_says_it_too(cast: Cast) -> None:
    forged = forge(ago=3600)
    unguarded("UPDATE audit_entry SET subject_type = 'site', subject_id = %s, site_id = %s"
              " WHERE id = %s", cast.site.pk, cast.site.pk, forged)  # fmt: skip
    seal_all()
    browser = Client()
    browser.force_login(cast.owner)
    page = unescape(browser.get(f"/history/of/site/{cast.site.pk}/").content.decode())
    assert page.count("Sealed late") == 1


def marked(index: int) -> bool:
    return bool(late_of(index))


def late_of(index: int) -> object:
    from audit.sealing.late import marked_late  # noqa: PLC0415

    return marked_late(index)


def test_it_is_found_before_it_is_sealed() -> None:
    forge(txid=newest_stamp().floor[0], ago=3600)
    assert "an entry that was never sealed" in told(verify(bundle()))


def test_one_the_signer_did_not_mark_is_found_by_the_check(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With the key, or by a signer that does not look."""
    monkeypatch.setattr(module, "marking", lambda stamp, *_: stamp)
    by_txid, by_time = forge(txid=newest_stamp().floor[0]), forge(ago=3600)
    seal_all(beneath=True)
    report = verify(bundle())
    assert not report.intact
    found = {one.first: one.words for one in report.findings if one.kind is Kind.UNTIMELY}
    assert found.keys() == {nth(by_txid) + 1, nth(by_time) + 1}
    assert ENDED in found[nth(by_txid) + 1]
    assert TOO_EARLY in found[nth(by_time) + 1]


def test_transactions_open_for_long_are_no_alarm() -> None:
    with another() as slow, another() as slower:
        write(slow, "slow")
        write(slower, "slower")
        for _ in range(3):
            shelves(2)
            seal_all()
        slow.commit()
        shelves(1)
        seal_all()
        write(slower, "slower again")
        slower.commit()
    seal_all()
    assert newest_stamp().marked == 0
    assert sorted(sealed_ids()) == sorted(Entry.objects.values_list("pk", flat=True))
    report = verify(bundle())
    assert report.intact, told(report)
    assert not [one for one in report.findings if one.kind is not Kind.NOTE]


def test_one_written_as_of_a_transaction_that_is_open_can_not_lie_before_it_began() -> None:
    with another() as slow:
        write(slow, "slow")
        with slow.cursor() as cursor:
            cursor.execute("SELECT pg_current_xact_id()::text::bigint")
            (txid,) = cursor.fetchone()
        shelves(1)
        seal_all()
        still_open = forge(txid=txid)  # no entry of it can be seen yet
        seal_all()
        assert marked(nth(still_open))
        slow.commit()
    before_it = forge(txid=txid, ago=3600)
    seal_all()
    assert marked(nth(before_it))
    assert newest_stamp().marked == 2


def test_sealing_waits_while_the_clocks_differ(monkeypatch: pytest.MonkeyPatch) -> None:
    set_clock(monkeypatch, timedelta(minutes=-10))
    shelves(1)
    with pytest.raises(ClockError, match="database's clock says"):
        seal()
    monkeypatch.undo()
    assert seal() == 1
    assert newest_stamp().marked == 0


def set_clock(monkeypatch: pytest.MonkeyPatch, by: timedelta) -> None:
    class Wrong(datetime):
        @classmethod
        def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
            return datetime.now(UTC) + by

    monkeypatch.setattr(clock, "datetime", Wrong)


def test_after_a_clock_that_was_ahead_somebody_has_to_say_so() -> None:
    ahead = moment(datetime.now(UTC) + timedelta(days=400))
    signed_anew(time=ahead)
    shelves(2)
    with pytest.raises(ClockError, match="it signed at"):
        seal()
    call_command("resume_sealing", "--reason", "the clock was set a year ahead")
    seal_all()
    assert newest_stamp().time < ahead
    assert newest_stamp().marked == 0
    report = verify(bundle())
    assert report.intact, told(report)
    assert "the signer's clock was set back" in told(report)
    with pytest.raises(CommandError, match="has not stopped"):
        call_command("resume_sealing", "--reason", "again")


def test_it_signs_now_and_then_although_nothing_came(monkeypatch: pytest.MonkeyPatch) -> None:
    before = newest_stamp()
    assert seal() == 0
    assert newest_stamp() == before
    monkeypatch.setattr(clock, "PULSE", timedelta(0))
    assert seal() == 0
    monkeypatch.undo()
    assert newest_stamp().number == before.number + 1
    assert newest_stamp().through != before.through
    forge(ago=60)
    seal_all()
    assert newest_stamp().marked == 1
    assert verify(bundle()).intact


def test_what_was_signed_and_not_committed_keeps_its_mark(monkeypatch: pytest.MonkeyPatch) -> None:
    forged = forge(ago=3600)
    monkeypatch.setattr(module, "put", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        seal()
    monkeypatch.undo()
    seal_all()
    assert marked(nth(forged))
    assert SealingEvent.objects.filter(kind=SealingEventKind.LATE).count() == 1
    assert verify(bundle()).intact


def test_the_statement_of_a_snapshot_is_that_of_the_database() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_current_xact_id()::text::bigint")
        (done,) = cursor.fetchone()
    with another() as running:
        write(running, "running")
        with running.cursor() as cursor:
            cursor.execute("SELECT pg_current_xact_id()::text::bigint")
            (open_,) = cursor.fetchone()
        seen = clock.look()
        running.rollback()
    assert seen.ended(done)
    assert not seen.ended(open_)
    assert not seen.ended(seen.next)
