"""Many connections at once: every change has its entry, under the right name."""

import threading
from collections import Counter

import pytest
from django.db import connections
from django.db.models import F

from audit.capture.context import Channel, RequestContext, recorded, request_context
from audit.capture.models import Entry
from tests.audit.conftest import SORTED, Person
from tests.audit.sample import Shelf, empty
from tests.services import rounds

WRITERS = 8


@pytest.mark.django_db(transaction=True)
def test_each_writer_is_named_for_its_own_changes(sample_tables: None) -> None:
    each = rounds(200, 15)
    shelf = Shelf.objects.create(name="Top", site_id=0)
    problems: list[BaseException] = []

    def write(number: int) -> None:
        request_context.set(RequestContext(channel=Channel.TASK, request_id=f"request-{number}"))
        try:
            for _ in range(each):
                with recorded(by=Person(number, f"Writer {number}"), action=SORTED):
                    Shelf.objects.filter(pk=shelf.pk).update(site_id=F("site_id") + 1)
        except BaseException as problem:  # reported by the test, not lost with the thread
            problems.append(problem)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=write, args=[n]) for n in range(1, WRITERS + 1)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not problems
    entries = Entry.objects.filter(row_id=shelf.pk, operation="changed")
    assert Counter(entries.values_list("actor_id", "actor", "request_id")) == {
        (n, f"Writer {n}", f"request-{n}"): each for n in range(1, WRITERS + 1)
    }
    steps = [entry.changes["site_id"] for entry in entries.order_by("pk")]
    counts = sorted([int(old), int(new)] for old, new in steps)
    assert counts == [[n, n + 1] for n in range(WRITERS * each)]
    empty()
