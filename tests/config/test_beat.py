"""What is due is sent once, whatever becomes of the clock, and waits in the queue once."""

import time
from datetime import timedelta
from pathlib import Path

import pytest
from celery import current_app
from celery.beat import ScheduleEntry

from audit.queueing import send_unless_waiting
from config.beat import SteadyScheduler
from config.celery import app, taken_up

TASK = "audit.tasks.seal"


class Sent(list[str]):
    """What was handed to the queue."""

    def __call__(self, name: str, *_: object, **told: object) -> None:
        """As Celery's send_task."""
        assert not told.get("expires"), "an expiry is a moment, and compares two machines' clocks"
        self.append(name)


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> Sent:
    """What was handed to the queue, which is not there."""
    found = Sent()
    monkeypatch.setattr(app, "send_task", found)
    return found


@pytest.fixture
def scheduler(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SteadyScheduler:
    """With the whole schedule, and a file of its own."""
    current_app.loader.import_default_modules()
    monkeypatch.setattr(SteadyScheduler, "producer", None)
    return SteadyScheduler(app, schedule_filename=str(tmp_path / "schedule"), lazy=False)


def line(scheduler: SteadyScheduler, task: str = TASK) -> ScheduleEntry:
    """Of the schedule."""
    return next(each for each in scheduler.schedule.values() if each.task == task)


def test_a_clock_set_back_holds_nothing_back(
    scheduler: SteadyScheduler, sent: Sent, monkeypatch: pytest.MonkeyPatch
) -> None:
    nightly, real = line(scheduler, "audit.tasks.reconcile_tonight"), time.time
    before = nightly.last_run_at or nightly.default_now()
    monkeypatch.setattr(time, "time", lambda: real() - 60)
    scheduler.tick()
    scheduler.tick()
    moved = (nightly.last_run_at or before) - before
    assert abs(moved + timedelta(seconds=60)) < timedelta(seconds=5), "once, with the clock"
    assert sent, "what is due by the clock that nobody sets is sent"


def test_a_schedule_kept_from_the_future_begins_now(scheduler: SteadyScheduler) -> None:
    entry = line(scheduler)
    entry.last_run_at = entry.default_now() + timedelta(hours=1)
    scheduler.setup_schedule()
    runs = [each.last_run_at for each in scheduler.schedule.values()]
    assert max(filter(None, runs)) <= entry.default_now()


def test_one_that_waits_is_not_sent_again_until_it_is_taken_up(
    scheduler: SteadyScheduler, sent: Sent
) -> None:
    scheduler.apply_async(line(scheduler), advance=False)
    scheduler.apply_async(line(scheduler), advance=False)
    assert sent == [TASK]
    taken_up(task=current_app.tasks[TASK], args=())
    scheduler.apply_async(line(scheduler), advance=False)
    assert sent == [TASK, TASK]


def test_a_sweep_sends_what_does_not_wait_already(sent: Sent) -> None:
    assert send_unless_waiting("recipes.tasks.run_publication", [7])
    assert not send_unless_waiting("recipes.tasks.run_publication", [7])
    assert send_unless_waiting("recipes.tasks.run_publication", [8])
    assert len(sent) == 2
