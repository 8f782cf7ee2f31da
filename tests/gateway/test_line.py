"""The side towards the server: what it sends, what it believes, and when it waits."""

from datetime import UTC, datetime
from unittest.mock import Mock

import pytest

from gateway.client import LineError, RevokedError, ServerRefusesError
from gateway.line import Line
from gateway.outbox import Outbox
from gateway.store import Store
from gateway.wanted import all_wanted
from tests.gateway.fake_server import Ledger, slot

AT = datetime(2026, 11, 29, 8, 0, tzinfo=UTC)
JSON = {"Content-Type": "application/json"}
PROBLEM = {"Content-Type": "application/problem+json"}


def put(outbox: Outbox, count: int, kind: str = "shot.v1") -> None:
    for number in range(count):
        outbox.put(kind, {"number": number}, AT)


def test_what_waits_is_sent_and_forgotten_once_it_is_known(
    line: Line, outbox: Outbox, ledger: Ledger
) -> None:
    put(outbox, 1203)
    line.send()
    assert [outbox.waiting(), ledger.through, len(ledger.events)] == [0, 1203, 1203]
    assert not ledger.doubled


def test_an_answer_that_was_lost_doubles_nothing(
    line: Line, outbox: Outbox, ledger: Ledger
) -> None:
    put(outbox, 3)
    first = outbox.batch()
    line.send()
    for event in first:  # as it is after a kill between the answer and the note of it
        ledger.take({"id": event.id, "sequence": str(event.sequence)})
    assert [ledger.through, ledger.doubled] == [3, []]


@pytest.mark.parametrize(
    "answer",
    [
        (200, {"Content-Type": "text/html"}, b"<title>Please sign in to this network</title>"),
        (200, JSON, b"{}"),
        (200, JSON, b"[]"),
        (200, JSON, b'{"through": -1}'),
        (200, JSON, b'{"through": "all"}'),
        (200, JSON, b'{"through": 2, "last": 2, "refused": []}'),
        (200, JSON, b'{"taken": 1, "repeated": 0, "through": 2, "last": 2, "refused": []}'),
        (200, JSON, b'{"taken": 2, "repeated": 0, "through": 3, "last": 2, "refused": []}'),
        (302, {"Location": "http://127.0.0.1:9/"}, b""),
        (404, {"Content-Type": "text/html"}, b"gone"),
        (400, {"Content-Type": "text/html"}, b"a proxy's"),
        (500, {}, b""),
        (502, {}, b""),
        (503, {}, b""),
        (429, {}, b""),
    ],
)
def test_nothing_is_forgotten_for_an_answer_that_does_not_say_so(
    line: Line, outbox: Outbox, ledger: Ledger, answer: tuple[int, dict[str, str], bytes]
) -> None:
    line.send()
    put(outbox, 2)
    ledger.answers.append(answer)
    with pytest.raises(LineError):
        line.send()
    assert outbox.waiting() == 2
    line.send()
    assert [outbox.waiting(), ledger.through] == [0, 2]


@pytest.mark.parametrize(("said", "waits"), [("7", 7.0), ("soon", 0.0)])
def test_retry_after_is_heard(
    line: Line, outbox: Outbox, ledger: Ledger, said: str, waits: float
) -> None:
    put(outbox, 1)
    ledger.answers.append((503, {"Retry-After": said}, b""))
    with pytest.raises(LineError) as raised:
        line.send()
    assert raised.value.wait == waits


def test_a_batch_that_is_none_is_halved_until_what_spoils_it_is_alone(
    line: Line, outbox: Outbox, ledger: Ledger
) -> None:
    ledger.refuses.add("portaledger.spoilt.v1")
    put(outbox, 5)
    put(outbox, 1, "spoilt.v1")
    put(outbox, 5)
    line.send()
    assert [outbox.waiting(), ledger.through] == [0, 11]
    assert [each["code"] for each in ledger.of("fault")] == ["not_sendable"]
    assert len(ledger.of("shot")) == 10


def test_what_was_set_aside_is_kept_where_the_fault_told_instead_is_refused_too(
    line: Line, outbox: Outbox, ledger: Ledger, store: Store
) -> None:
    put(outbox, 2)
    first = outbox.batch()[0]
    ledger.refuses |= {"portaledger.shot.v1", "portaledger.fault.v1"}
    for _ in range(2):
        with pytest.raises(ServerRefusesError):
            line.send()
    (kept,) = store.rows("SELECT event FROM set_aside")
    assert first.id in kept["event"]
    assert [each.type for each in outbox.batch()] == [
        "portaledger.fault.v1",
        "portaledger.shot.v1",
    ]
    ledger.refuses.clear()
    line.send()
    assert [outbox.waiting(), ledger.through] == [0, 2]


def test_a_revoked_gateway_stops_and_keeps_what_it_has(
    line: Line, outbox: Outbox, ledger: Ledger
) -> None:
    put(outbox, 1)
    ledger.revoked = True
    with pytest.raises(RevokedError):
        line.send()
    assert outbox.waiting() == 1


@pytest.mark.parametrize("since", [0, 1, 3, 9])
def test_a_folder_that_was_put_back_goes_on_and_loses_nothing_it_has(
    line: Line, outbox: Outbox, ledger: Ledger, store: Store, since: int
) -> None:
    put(outbox, 5)
    line.send()
    # A copy of when three had been sent; ``since`` events came before it had a line.
    store.keep("sequence", "3")
    put(outbox, since)
    fresh = {event.id for event in outbox.batch()}
    line.asked = False
    line.send()
    assert outbox.waiting() == 0
    assert fresh <= {event["id"] for event in ledger.events.values()}
    put(outbox, 1)
    line.send()
    assert [len(ledger.events), ledger.through] == [6 + since, 6 + since]


def test_a_server_that_lost_what_it_knew_does_not_hold_up_the_rest(
    line: Line, outbox: Outbox, ledger: Ledger
) -> None:
    put(outbox, 4)
    line.send()
    del ledger.events[2]  # put back from a copy
    put(outbox, 2)
    line.send()
    assert [outbox.waiting(), sorted(ledger.events)] == [0, [1, 3, 4, 5, 6]]


@pytest.mark.parametrize("ahead", [-4000.0, 4000.0])
def test_a_clock_that_is_off_is_corrected_told_and_sent_of_one_clock(
    line: Line, outbox: Outbox, ledger: Ledger, ahead: float
) -> None:
    ledger.offset = ahead
    outbox.put("shot.v1", {"pulled_at": line.clock.now().isoformat()}, line.clock.now())
    line.send()
    (event,) = ledger.events.values()
    assert abs((datetime.fromisoformat(event["time"]) - ledger.now).total_seconds()) < 30
    pulled = datetime.fromisoformat(event["data"]["pulled_at"])
    assert abs((pulled - ledger.now).total_seconds()) < 30
    line.beat()
    line.send()
    (beat,) = ledger.of("heartbeat")
    assert abs(beat["clock_offset"] + ahead) < 30


def test_the_correction_is_known_after_a_restart_and_ends_when_the_clock_is_right(
    line: Line, outbox: Outbox, ledger: Ledger, store: Store
) -> None:
    ledger.offset = 4000.0
    put(outbox, 1)
    line.send()
    assert float(store.note("clock_applied")) == pytest.approx(4000, abs=30)
    ledger.offset = 0.0
    put(outbox, 1)
    line.send()
    put(outbox, 1)
    line.send()
    assert float(store.note("clock_applied")) == pytest.approx(0, abs=30)


def test_settings_are_asked_for_since_a_cursor_and_not_sent_again_unchanged(
    line: Line, ledger: Ledger, store: Store
) -> None:
    ledger.slots = [slot(1), slot(2)]
    line.fetch()
    line.fetch()
    assert [each.place.number for each in all_wanted(store)] == [1, 2]
    ledger.slots, ledger.version = [slot(2, placement=7)], 2
    line.fetch()
    assert [each.placement for each in all_wanted(store)] == [1, 7]


def test_a_whole_answer_takes_the_place_of_everything(
    line: Line, ledger: Ledger, store: Store
) -> None:
    ledger.slots = [slot(1), slot(2)]
    line.fetch()
    ledger.slots, ledger.version = [slot(2)], 2
    line.fetch(whole=True)
    assert [each.place.number for each in all_wanted(store)] == [2]


@pytest.mark.parametrize("body", [b"{}", b'{"slots": {}, "cursor": "c"}', b'{"slots": [{}]}'])
def test_an_answer_that_is_no_settings_changes_nothing(
    line: Line, ledger: Ledger, store: Store, body: bytes
) -> None:
    ledger.slots = [slot(1)]
    line.fetch()
    ledger.answers.append((200, JSON, body))
    with pytest.raises(LineError):
        line.fetch(whole=True)
    assert len(list(all_wanted(store))) == 1


def test_settings_that_cannot_be_had_do_not_hold_up_what_happened(
    line: Line, outbox: Outbox, ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(outbox, 2)
    monkeypatch.setattr(line.server, "settings", Mock(side_effect=ServerRefusesError(400, "no")))
    with pytest.raises(ServerRefusesError):
        line.once()
    line.once()
    assert len(ledger.of("shot")) == 2
    line.next_poll = 0.0
    with pytest.raises(ServerRefusesError):
        line.once()


def test_without_a_line_one_heartbeat_waits_not_thousands(line: Line, outbox: Outbox) -> None:
    for _ in range(3):
        line.beat()
    assert outbox.waiting() == 1


def test_a_problem_with_a_call_is_told_in_its_words(line: Line, ledger: Ledger) -> None:
    ledger.answers.append((503, PROBLEM, b'{"title": "Under maintenance", "detail": "back soon"}'))
    with pytest.raises(LineError, match="Under maintenance; back soon"):
        line.fetch()
