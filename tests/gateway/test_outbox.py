"""The outbox: numbers given once, without a gap, kept until the server knows them."""

from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from gateway.outbox import Outbox, cloud_event
from gateway.store import Store

AT = datetime(2026, 11, 29, 8, 0, tzinfo=UTC)


@pytest.fixture
def outbox(tmp_path: Path) -> Outbox:
    return Outbox(Store(tmp_path / "gateway.db"))


def put(outbox: Outbox, count: int, size: int = 1) -> None:
    for number in range(count):
        outbox.put("shot.v1", {"number": number, "filling": "x" * size}, AT)


def test_the_file_is_written_ahead_and_synced_wholly(outbox: Outbox) -> None:
    rows = outbox.store.rows
    assert rows("PRAGMA journal_mode")[0][0] == "wal"
    assert rows("PRAGMA synchronous")[0][0] == 2


def test_numbers_begin_at_one_and_have_no_gap(outbox: Outbox) -> None:
    put(outbox, 3)
    assert [each.sequence for each in outbox.batch()] == [1, 2, 3]


def test_numbers_go_on_after_everything_is_known(outbox: Outbox) -> None:
    put(outbox, 3)
    outbox.settle(outbox.batch())
    put(outbox, 1)
    assert [each.sequence for each in outbox.batch()] == [4]


def test_a_number_is_not_used_up_by_what_was_not_kept(outbox: Outbox) -> None:
    with suppress(RuntimeError), outbox.store.writing():
        put(outbox, 2)
        raise RuntimeError
    put(outbox, 1)
    assert [each.sequence for each in outbox.batch()] == [1]


def test_what_is_not_known_stays(outbox: Outbox) -> None:
    put(outbox, 5)
    outbox.settle(outbox.batch(2))
    assert [each.sequence for each in outbox.batch()] == [3, 4, 5]
    assert outbox.waiting() == 3


def test_a_batch_takes_as_many_as_the_interface_does(outbox: Outbox) -> None:
    put(outbox, 510)
    assert len(outbox.batch()) == 500
    assert len(outbox.batch(most=7)) == 7


def test_a_batch_is_no_larger_than_the_interface_allows(outbox: Outbox) -> None:
    put(outbox, 10, size=300_000)
    assert len(outbox.batch()) == 2


def test_one_event_is_sent_however_large(outbox: Outbox) -> None:
    put(outbox, 2, size=3_000_000)
    assert len(outbox.batch()) == 1


def test_numbers_that_the_server_has_are_not_given_again(outbox: Outbox) -> None:
    put(outbox, 2)
    first, _ = outbox.batch()
    assert outbox.go_on_after(9, [first])
    put(outbox, 1)
    assert [each.sequence for each in outbox.batch()] == [2, 10, 11]
    assert [each.id for each in outbox.batch()][1] == first.id
    assert not outbox.go_on_after(9, [])


def test_two_connections_give_different_numbers(outbox: Outbox, tmp_path: Path) -> None:
    other = Outbox(Store(tmp_path / "gateway.db"))
    put(outbox, 1)
    put(other, 1)
    put(outbox, 1)
    assert [each.sequence for each in other.batch()] == [1, 2, 3]


def test_an_event_nothing_can_carry_leaves_a_fault_under_its_number(outbox: Outbox) -> None:
    put(outbox, 2)
    spoilt = outbox.batch()[0]
    outbox.set_aside(spoilt, "too large", AT)
    first = outbox.batch()[0]
    assert (first.sequence, first.type) == (1, "portaledger.fault.v1")
    assert first.id != spoilt.id
    kept = outbox.store.rows("SELECT event FROM set_aside WHERE sequence = 1")
    assert spoilt.id in kept[0]["event"]


def test_an_event_travels_with_all_its_times_of_one_clock(outbox: Outbox) -> None:
    outbox.put("shot.v1", {"pulled_at": AT.isoformat()}, AT + timedelta(seconds=30))
    travelling = cloud_event(
        outbox.batch()[0], source="urn:x", schemas="https://s/", shift=timedelta(hours=1)
    )
    assert travelling["time"] == "2026-11-29T09:00:30.000Z"
    assert travelling["data"] == {"pulled_at": "2026-11-29T09:00:00.000Z"}
    assert travelling["dataschema"] == "https://s/portaledger.shot.v1.json"
    assert (travelling["sequence"], travelling["specversion"]) == ("1", "1.0")
