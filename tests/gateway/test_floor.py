"""The side towards the machines: what is loaded, what is refused, what is told."""

import sqlite3
import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from unittest.mock import Mock

import pytest

from gateway.client import Fetched
from gateway.clock import Clock
from gateway.driver import Place, RefusedError, Shot, SilentError, Trace
from gateway.floor import Floor
from gateway.outbox import Outbox
from gateway.ranges import Amount
from gateway.wanted import keep
from tests.gateway.conftest import Machine
from tests.gateway.fake_server import slot

PULLED = datetime(2026, 11, 29, 8, 0, tzinfo=UTC)
OTHER = {"value": "250", "unit": "{pulse}"}


def want(floor: Floor, *slots: dict[str, Any]) -> None:
    keep(floor.store, Fetched({"cursor": "c", "whole": True, "slots": list(slots)}, ""))


def told(outbox: Outbox, kind: str) -> list[dict[str, Any]]:
    return [each.data for each in outbox.batch() if each.type == f"portaledger.{kind}.v1"]


def shot(mark: str, **others: Any) -> Shot:  # noqa: ANN401
    return Shot(Place("M1", 1, 1), mark, PULLED, Decimal("27.5"), **others)


def test_what_is_signed_is_loaded_once_told_and_read_back(
    floor: Floor, machine: Machine, outbox: Outbox
) -> None:
    want(floor, slot(1))
    floor.round()
    floor.round()
    assert len(machine.loads) == 1
    assert told(outbox, "loaded") == [{"slot": 101, "placement": 1, "digest": slot(1)["digest"]}]
    (read,) = told(outbox, "read_back")
    assert read == {"slot": 101, "placement": 1, "settings": slot(1)["settings"]}


def test_a_new_placement_is_loaded_even_with_the_same_settings(
    floor: Floor, machine: Machine
) -> None:
    for placement in (1, 2):
        want(floor, slot(1, placement=placement))
        floor.round()
    assert len(machine.loads) == 2


def test_what_was_loaded_is_known_after_a_restart(floor: Floor, machine: Machine) -> None:
    want(floor, slot(1))
    floor.round()
    again = Floor(store=floor.store, driver=machine, clock=floor.clock, pace=floor.pace)
    again.round()
    assert len(machine.loads) == 1


@pytest.mark.parametrize(
    ("served", "code"),
    [
        (slot(1, digest="0" * 64), "digest"),
        (slot(1, digest=None), "digest"),
        (slot(1, digest=slot(1)["digest"], settings={"water_volume": OTHER}), "digest"),
        (slot(1, digest=slot(2)["digest"]), "digest"),
        (slot(1, settings={}), "digest"),
        (slot(1, settings={"water_volume": "160"}), "digest"),
        (slot(1, settings={"brew_temperature": {"value": "101", "unit": "Cel"}}), "out_of_range"),
        (slot(1, settings={"brew_temperature": {"value": "98", "unit": "Cel"}}), "out_of_range"),
        (
            slot(1, settings={"brew_temperature": {"value": "200", "unit": "[degF]"}}),
            "out_of_range",
        ),
        (slot(1, settings={"boiler_pressure": {"value": "1", "unit": "bar"}}), "out_of_range"),
        (slot(1, settings={"ends_by": {"value": "mass", "unit": ""}}), "out_of_range"),
        (slot(1, problem="Not as it was signed"), "problem"),
        (slot(3), "unknown_slot"),
    ],
)
def test_what_does_not_fit_is_never_loaded_and_told_once(
    floor: Floor, machine: Machine, outbox: Outbox, served: dict[str, Any], code: str
) -> None:
    machine.memory[3] = {}
    if code == "unknown_slot":
        del machine.memory[3]
        served = slot(2)
        del machine.memory[2]
        machine.failing = SilentError("no such slot")
    want(floor, served)
    floor.round()
    floor.round()
    assert machine.loads == []
    assert [each["code"] for each in told(outbox, "fault")][:1] == [code]
    assert len([each for each in told(outbox, "fault") if each["code"] == code]) == 1


def test_a_placement_is_held_to_the_first_digest_it_came_with(
    floor: Floor, machine: Machine, outbox: Outbox
) -> None:
    want(floor, slot(1))
    want(floor, slot(1, settings={"water_volume": OTHER}))
    floor.round()
    assert machine.loads == []
    assert [each["code"] for each in told(outbox, "fault")] == ["digest"]


def test_what_a_machine_does_not_show_is_not_told_as_unset(
    floor: Floor, machine: Machine, outbox: Outbox
) -> None:
    settings = {**slot(1)["settings"], "agitation": {"value": "1", "unit": ""}}
    want(floor, slot(1, settings=settings, locked=False))
    floor.round()
    assert [each["unread"] for each in told(outbox, "read_back")] == [["agitation"]]


@pytest.mark.parametrize("served", [slot(1, locked=False), slot(1, placement=None)])
def test_what_nobody_signed_is_not_the_gateways_to_load(
    floor: Floor, machine: Machine, served: dict[str, Any]
) -> None:
    want(floor, served)
    floor.round()
    assert machine.loads == []


def test_an_overwritten_slot_is_told_and_left_to_the_server(
    floor: Floor, machine: Machine, outbox: Outbox
) -> None:
    want(floor, slot(1))
    floor.round()
    machine.memory[1]["water_volume"] = Amount("250", "{pulse}")
    floor.round()
    assert len(machine.loads) == 1
    assert told(outbox, "read_back")[-1]["settings"]["water_volume"] == OTHER


def test_what_is_to_be_restored_is_loaded_again_once_for_each_text(
    floor: Floor, machine: Machine, outbox: Outbox
) -> None:
    want(floor, slot(1))
    floor.round()
    for restore, loads in (("7.0", 2), ("7.0", 2), (None, 2), ("7.1", 3)):
        machine.memory[1]["water_volume"] = Amount("250", "{pulse}")
        want(floor, slot(1, restore=restore))
        floor.round()
        floor = Floor(store=floor.store, driver=machine, clock=floor.clock, pace=floor.pace)
        floor.round()
        assert len(machine.loads) == loads
    assert len(told(outbox, "loaded")) == 3
    assert told(outbox, "read_back")[-1]["settings"] == slot(1)["settings"]


def test_what_is_to_be_restored_is_not_loaded_where_it_does_not_fit(
    floor: Floor, machine: Machine
) -> None:
    want(floor, slot(1))
    floor.round()
    for wrong in ({"digest": "0" * 64}, {"locked": False}, {"problem": "Not as it was signed"}):
        want(floor, slot(1, restore="7.0", **wrong))
        floor.round()
    assert len(machine.loads) == 1


def test_a_fault_that_ended_is_told_again(floor: Floor, machine: Machine, outbox: Outbox) -> None:
    for served in (slot(1, digest="0" * 64), slot(1), slot(1, digest="1" * 64)):
        want(floor, served)
        floor.round()
        floor.round()
    assert [each["code"] for each in told(outbox, "fault")] == ["digest", "digest"]


def test_a_machine_that_cannot_hold_it_is_told_and_not_hammered(
    floor: Floor, machine: Machine, outbox: Outbox
) -> None:
    machine.refusing = RefusedError("no such ending")
    want(floor, slot(1))
    floor.round()
    floor.round()
    assert [each["code"] for each in told(outbox, "fault")] == ["not_taken"]
    assert told(outbox, "loaded") == []


def test_a_silent_station_is_told_once_and_its_slots_wait(
    floor: Floor, machine: Machine, outbox: Outbox
) -> None:
    machine.answers, machine.failing = False, SilentError("no answer")
    want(floor, slot(1))
    floor.round()
    floor.round()
    assert [each["code"] for each in told(outbox, "fault")] == ["silent", "no_answer"]
    rows = floor.store.rows("SELECT answers FROM answering")
    assert [row["answers"] for row in rows] == [0]


def test_a_shot_is_told_with_its_figures_once(
    floor: Floor, machine: Machine, outbox: Outbox
) -> None:
    want(floor, slot(1))
    trace = Trace(t=(0.0, 0.5), pressure=(0.0, 9.0))
    one = shot("1", beverage_mass=Decimal("36.20"), trace=trace)
    machine.pulled = [one, shot("2")]
    for _ in range(2):
        floor.watch(threading.Event())
    first, second = told(outbox, "shot")
    assert first["beverage_mass"] == "36.20"
    assert first["trace"] == {"t": [0.0, 0.5], "pressure": [0.0, 9.0]}
    assert second == {"slot": 101, "pulled_at": PULLED.isoformat(), "shot_time": "27.5"}


def test_a_shot_and_its_mark_are_kept_together_or_not_at_all(
    floor: Floor, outbox: Outbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    want(floor, slot(1))
    with monkeypatch.context() as broken:
        broken.setattr(floor.outbox, "put", lambda *_: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            floor.took(shot("1"))
    assert floor.marks() == {}
    floor.took(shot("1"))
    assert len(told(outbox, "shot")) == 1


def test_shots_without_figures_and_of_unknown_slots_are_faults(
    floor: Floor, outbox: Outbox
) -> None:
    want(floor, slot(1))
    floor.took(shot("5", missed=3))
    floor.took(replace(shot("6"), place=Place("M1", 1, 9)))
    assert [each["code"] for each in told(outbox, "fault")] == ["shots_missed", "unknown_slot"]
    assert len(told(outbox, "shot")) == 1


@pytest.mark.parametrize("raised", [ValueError, AttributeError, RuntimeError, AssertionError])
@pytest.mark.parametrize("method", ["describe", "load", "read_back", "shots"])
def test_a_driver_that_fails_in_its_own_way_does_not_end_the_gateway(
    floor: Floor, machine: Machine, outbox: Outbox, method: str, raised: type[Exception]
) -> None:
    want(floor, slot(1))
    stop = threading.Event()
    setattr(machine, method, Mock(side_effect=raised))
    threading.Timer(0.3, stop.set).start()
    floor.run(stop)
    faults = told(outbox, "fault")
    assert {each["code"] for each in faults} == {"driver"}
    assert any(raised.__name__ in each["words"] for each in faults)


def test_a_slot_that_fails_in_its_own_way_holds_up_no_other(
    floor: Floor, machine: Machine, outbox: Outbox
) -> None:
    machine.read_back = Mock(side_effect=[KeyError(1), {}])  # type: ignore[method-assign]
    want(floor, slot(1), slot(2))
    floor.round()
    assert [each["slot"] for each in told(outbox, "read_back")] == [102]
    assert [each["code"] for each in told(outbox, "fault")] == ["driver"]


def test_a_store_that_fails_ends_the_gateway(floor: Floor, machine: Machine) -> None:
    want(floor, slot(1))
    machine.pulled = [shot("1")]
    floor.store.connection.execute("DROP TABLE mark")
    with pytest.raises(sqlite3.Error):
        floor.run(threading.Event())


@pytest.mark.parametrize("by", [timedelta(days=20_000), timedelta(seconds=-40)])
def test_what_was_noted_before_the_clock_was_set_is_moved_along(
    floor: Floor, outbox: Outbox, monkeypatch: pytest.MonkeyPatch, by: timedelta
) -> None:
    outbox.put("shot.v1", {"pulled_at": PULLED.isoformat()}, PULLED)  # by an earlier run
    floor = Floor(store=floor.store, driver=floor.driver, clock=Clock(), pace=floor.pace)
    want(floor, slot(1))
    floor.took(shot("1"))
    before = [event.time for event in outbox.batch()]
    now = Clock.now
    monkeypatch.setattr(Clock, "now", lambda clock: now(clock) + by)
    floor.mind_the_clock()
    floor.mind_the_clock()
    after = outbox.batch()
    assert after[0].time == before[0]
    assert after[1].time - before[1] == pytest.approx(by, abs=timedelta(seconds=1))
    moved = datetime.fromisoformat(after[1].data["pulled_at"]) - PULLED
    assert moved == pytest.approx(by, abs=timedelta(seconds=1))


def test_a_clock_that_is_kept_right_moves_nothing(floor: Floor, outbox: Outbox) -> None:
    want(floor, slot(1))
    floor.took(shot("1"))
    before = outbox.batch()
    floor.mind_the_clock()
    assert outbox.batch() == before
