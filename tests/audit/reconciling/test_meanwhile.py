"""Work goes on while the tables are compared: nothing of it is a difference."""

import threading

import pytest
from django.db import connection

from audit.reconciling.reconcile import reconcile
from audit.reconciling.tables import governed_tables
from stations.equipment.models import Site
from tests.audit.sample import run
from tests.cast import make_sites

pytestmark = pytest.mark.django_db(transaction=True)
ROUNDS = 8


def test_writers_beside_it_are_no_difference() -> None:
    make_sites()
    tables = [table for table in governed_tables() if table.name == "stations_site"]
    done = threading.Event()
    written = []

    def write() -> None:
        try:
            while not done.is_set():
                run("UPDATE stations_site SET altitude = altitude + 1, name = name || '.'")
                run("UPDATE stations_site SET name = left(name, 9)")
                written.append(1)
        finally:
            connection.close()

    writers = [threading.Thread(target=write) for _ in range(2)]
    for writer in writers:
        writer.start()
    try:
        found = [reconcile(tables).counts for _ in range(ROUNDS)]
    finally:
        done.set()
        for writer in writers:
            writer.join()
    assert written
    assert [{k: n for k, n in each.items() if k != "guard"} for each in found] == [{}] * ROUNDS
    assert Site.objects.count() == 2
