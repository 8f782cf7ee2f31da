"""One entry a row in one statement, and no plan that turns quadratic."""

import time

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from audit.capture.context import recorded
from audit.capture.models import Entry
from tests.audit.conftest import SORTED, Person, newest
from tests.audit.sample import Shelf, run

pytestmark = pytest.mark.django_db
MANY = 20_000


def test_one_entry_a_row_whatever_the_number(shelf: Shelf) -> None:
    run(
        'INSERT INTO sample_jar (shelf_id, name, mass, "full", secret)'
        " SELECT %s, g::text, g, false, '' FROM generate_series(1, 20000) g",
        shelf.pk,
    )
    assert Entry.objects.filter(table_name="sample_jar").count() == MANY
    mark = newest()
    for number in range(10):  # the plan of this session is now one for single rows
        run("UPDATE sample_jar SET mass = mass + 1 WHERE name = %s", str(number + 1))
    began = time.monotonic()
    run("UPDATE sample_jar SET mass = mass + 1")
    # A nested loop over 20,000 by 20,000 rows takes minutes; this is far below a second.
    assert time.monotonic() - began < 20
    assert Entry.objects.filter(pk__gt=mark).count() == MANY + 10


def test_an_action_costs_one_statement_more_than_its_own(shelf: Shelf, person: Person) -> None:
    with (
        CaptureQueriesContext(
            connection,
        ) as seen,
        recorded(by=person, action=SORTED),
    ):
        Shelf.objects.update(name="Low")
    own = [q["sql"] for q in seen.captured_queries if "SAVEPOINT" not in q["sql"]]
    assert len(own) == 3, own  # context told, the update, and taken back inside the test's block
