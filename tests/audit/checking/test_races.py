"""Checks of the history asked for, run and taken over at the same moment; and a worker killed."""

import os
import signal
import time

import pytest
from django.db import connection

from audit.capture.models import Entry
from audit.checking import run as running
from audit.checking.actions import CHECKS, SILENT, start_check
from audit.checking.models import HistoryCheck
from audit.checking.run import run_check
from audit.errors import Refused
from audit.sealing.seal import seal
from people.persons.models import User
from tests.audit.sample import empty, run
from tests.audit.sealed import shelves
from tests.cast import Cast
from tests.races import at_once
from tests.services import rounds

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("sample_tables")]


def test_of_several_who_ask_one_gets_a_check_and_the_others_are_told(cast: Cast) -> None:
    for _ in range(rounds(30, 4)):
        people = [User.objects.get(pk=cast.owner.pk) for _ in range(6)]
        told = at_once([lambda who=who: start_check(by=who) for who in people])  # type: ignore[misc]
        made = [one for one in told if isinstance(one, HistoryCheck)]
        refused = [one for one in told if isinstance(one, Refused)]
        assert (len(made), len(refused)) == (1, 5), told
        assert run_check(made[0].pk)
    words = Entry.objects.filter(subject_type="history_check", operation="refused")
    assert words.count() == rounds(30, 4) * 5
    empty()


def test_of_several_workers_one_runs_it(cast: Cast) -> None:
    shelves(40)
    seal()
    for _ in range(rounds(30, 4)):
        made = start_check(by=cast.owner)
        seal()
        told = at_once([lambda: run_check(made.pk)] * 4)  # noqa: B023  run within the round
        assert (told.count(True), told.count(False)) == (1, 3), told
        made.refresh_from_db()
        assert (made.state, made.intact, made.attempts) == ("done", True, 1)
    empty()


def test_a_killed_worker_is_followed_by_another(cast: Cast) -> None:
    """SIGKILL in the middle: nothing is claimed, and the next one begins anew."""
    shelves(3_000)
    seal()
    for _ in range(rounds(20, 2)):
        made = start_check(by=cast.owner)
        seal()
        child = begun_elsewhere(made.pk)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        made.refresh_from_db()
        assert (made.state, made.intact) == ("running", None)
        assert not run_check(made.pk), "it may still be alive"
        run("UPDATE audit_historycheck SET seen_at = seen_at - %s * interval '1 second'"
            " WHERE state = 'running'", int(SILENT.total_seconds()) + 1)  # fmt: skip
        assert list(CHECKS.unattended()) == [made]
        assert run_check(made.pk)
        made.refresh_from_db()
        assert (made.state, made.intact, made.attempts) == ("done", True, 2)
    empty()


def begun_elsewhere(pk: int) -> int:
    """The id of a process that has begun the check and never comes to its end."""
    connection.close()
    child = os.fork()
    if child == 0:
        try:
            vars(running).update(EVERY=-1.0, outcome_of=lambda report: time.sleep(60))
            run_check(pk)
        finally:
            os._exit(1)
    until = time.monotonic() + 30
    while not HistoryCheck.objects.filter(pk=pk, checked__gt=0).exists():
        assert time.monotonic() < until
        time.sleep(0.01)
    return child
