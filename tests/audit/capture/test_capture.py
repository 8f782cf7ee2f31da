"""Whatever way a change takes, every changed row has one entry with its old and new values."""

from decimal import Decimal

import pytest
from django.db import connection

from tests.audit.conftest import newest, since
from tests.audit.sample import Jar, Shelf, run

pytestmark = pytest.mark.django_db


def jars(shelf: Shelf, count: int = 3) -> list[Jar]:
    masses = [Decimal(number) for number in range(count)]
    return Jar.objects.bulk_create(
        [Jar(shelf=shelf, name=f"jar {n}", mass=mass) for n, mass in enumerate(masses)]
    )


def test_save_of_a_new_row(shelf: Shelf) -> None:
    mark = newest()
    jar = Jar.objects.create(shelf=shelf, name="salt", mass=Decimal("1.5"), secret="x")
    (entry,) = since(mark)
    assert (entry.operation, entry.table_name, entry.row_id) == ("created", "sample_jar", jar.pk)
    assert (entry.subject_type, entry.subject_id) == ("shelf", shelf.pk)
    assert (entry.subject, entry.site_id) == ("Top, salt", 3)
    assert (entry.parameter, entry.unit) == ("mass", "g")
    assert entry.changes == {
        "shelf_id": [None, shelf.pk],
        "name": [None, "salt"],
        "mass": [None, "1.500"],
        "full": [None, False],
    }


def test_save_of_a_changed_row_names_only_what_changed(shelf: Shelf) -> None:
    jar = Jar.objects.create(shelf=shelf, name="salt", mass=Decimal("1.5"))
    mark = newest()
    jar.mass, jar.full = Decimal("2.25"), True
    jar.save()
    (entry,) = since(mark)
    assert entry.operation == "changed"
    assert entry.changes == {"mass": ["1.500", "2.250"], "full": [False, True]}


def test_bulk_create_and_bulk_update(shelf: Shelf) -> None:
    mark = newest()
    made = jars(shelf)
    assert [e.row_id for e in since(mark)] == [jar.pk for jar in made]
    mark = newest()
    for jar in made:
        jar.full = True
    Jar.objects.bulk_update(made, ["full"])
    assert [(e.row_id, e.changes) for e in since(mark)] == [
        (jar.pk, {"full": [False, True]}) for jar in made
    ]


def test_queryset_update_and_delete(shelf: Shelf) -> None:
    jars(shelf)
    mark = newest()
    Jar.objects.filter(shelf=shelf).update(mass=9)
    assert [e.changes["mass"][1] for e in since(mark)] == ["9.000"] * 3
    mark = newest()
    Jar.objects.filter(mass=9).delete()
    assert [(e.operation, e.changes["mass"]) for e in since(mark)] == [
        ("removed", ["9.000", None])
    ] * 3


def test_raw_sql_copy_merge_and_upsert(shelf: Shelf) -> None:
    mark = newest()
    columns = '(shelf_id, name, mass, "full", secret)'
    run(
        f"INSERT INTO sample_jar {columns} SELECT %s, g::text, g, false, '' FROM"
        " generate_series(1, 3) g",
        shelf.pk,
    )
    with (
        connection.cursor() as cursor,
        cursor.copy(f"COPY sample_jar {columns} FROM STDIN") as copy,
    ):
        for number in (4, 5):
            copy.write_row((shelf.pk, str(number), number, False, ""))
    assert [e.operation for e in since(mark)] == ["created"] * 5
    mark = newest()
    run(
        f"INSERT INTO sample_jar {columns} VALUES (%s, '5', 50, false, ''), (%s, '6', 6, false, '')"
        " ON CONFLICT (name) DO UPDATE SET mass = excluded.mass",
        shelf.pk,
        shelf.pk,
    )
    run(
        "MERGE INTO sample_jar j USING (VALUES ('1')) v(name) ON j.name = v.name"
        " WHEN MATCHED THEN DELETE"
    )
    assert sorted((e.operation, e.subject) for e in since(mark)) == [
        ("changed", "Top, 5"),
        ("created", "Top, 6"),
        ("removed", "Top, 1"),
    ]


def test_cascade_by_the_database(shelf: Shelf) -> None:
    jars(shelf)
    mark = newest()
    run("DELETE FROM sample_shelf WHERE id = %s", shelf.pk)
    assert sorted((e.table_name, e.operation) for e in since(mark)) == [
        *[("sample_jar", "removed")] * 3,
        ("sample_shelf", "removed"),
    ]
