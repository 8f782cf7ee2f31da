"""Many writers, many sealers, and sealers killed at random: every committed entry once."""

import os
import random
import signal
import time
from collections.abc import Callable

import pytest
from django.db import connection, transaction

from audit.capture.models import Entry
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.sealing.seal import seal
from tests.audit.sample import empty, run
from tests.audit.sealed import last_checkpoint, leaf_hashes, sealed_ids
from tests.races import at_once
from tests.services import rounds

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("sample_tables")]
WRITERS, SEALERS = 16, 3


def writer(number: int, each: int) -> Callable[[], int]:
    """Transactions of several entries, some slow to commit, some rolled back."""

    def write() -> int:
        chance = random.Random(number)
        for _ in range(each):
            with transaction.atomic():
                for _ in range(chance.randrange(1, 4)):
                    run("INSERT INTO sample_shelf (name, site_id) VALUES ('s', 3)")
                    time.sleep(chance.random() * 0.004)
                transaction.set_rollback(chance.random() < 0.2)
        return 0

    return write


def sealer(until: float) -> Callable[[], int]:
    def go() -> int:
        sealed = 0
        while time.monotonic() < until:
            sealed += seal(batch=7)
        return sealed

    return go


def seal_the_rest() -> None:
    while seal():
        pass


def all_once() -> None:
    """Nothing sealed twice, nothing left out, and the whole checks."""
    ids = sealed_ids()
    assert len(set(ids)) == len(ids)
    assert sorted(ids) == sorted(Entry.objects.values_list("pk", flat=True))
    assert len(leaf_hashes()) == len(ids)
    report = verify(bundle(), since=[last_checkpoint().note])
    assert report.intact, list(report.lines())


def test_writers_and_sealers_at_once() -> None:
    until = time.monotonic() + rounds(20, 2)
    writers = [writer(number, rounds(100, 8)) for number in range(WRITERS)]
    told = at_once([*writers, *(sealer(until) for _ in range(SEALERS))])
    assert not [one for one in told if isinstance(one, Exception)]
    seal_the_rest()
    assert Entry.objects.count() > WRITERS
    all_once()
    empty()


def test_sealers_killed_at_random() -> None:
    chance = random.Random(4)
    for number in range(rounds(100, 4)):
        sealers = [start() for _ in range(SEALERS)]
        try:
            at_once([writer(number * 100 + at, 3) for at in range(WRITERS)])
            time.sleep(chance.random() * 0.05)
        finally:
            for process in sealers:
                os.kill(process, signal.SIGKILL)
            ends = [os.waitpid(process, 0)[1] for process in sealers]
        assert ends == [signal.SIGKILL] * SEALERS  # none had ended by itself
        wait_until_alone()
    seal_the_rest()
    all_once()
    empty()


def start() -> int:
    """A process of its own that seals until it is killed; its id."""
    pid = os.fork()
    if pid:
        return pid
    # Never returns into the test: not even on an error. The connection is the parent's; closing
    # it here would end it there, so it is only put aside.
    try:
        aside = connection.connection
        connection.connection = None
        while aside is not False:
            seal(batch=7)
    finally:
        os._exit(1)


def wait_until_alone() -> None:
    """The server notices a killed client only when it next speaks to it."""
    for _ in range(200):
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND database ="
                " (SELECT oid FROM pg_database WHERE datname = current_database())"
            )
            if cursor.fetchone() == (0,):
                return
        time.sleep(0.05)
    pytest.fail("a killed sealer's lock is still held")
