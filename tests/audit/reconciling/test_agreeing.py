"""What the program itself does is never a difference."""

from decimal import Decimal

import pytest
from django.core.management import call_command

from audit.reconciling.baseline import extend_baseline
from audit.reconciling.models import Baseline
from audit.reconciling.reconcile import reconcile
from audit.reconciling.report import Report
from audit.reconciling.tables import GovernedTable, tables_of
from tests.audit import sample
from tests.audit.sealed import unguarded
from tests.before.conftest import before, dump, migrated

__all__ = ["before", "dump", "migrated"]


def own(*models: type) -> list[GovernedTable]:
    """The tests' own tables, with every kind of column."""
    return list(tables_of(models))


def told(report: Report) -> list[str]:
    return [f"{d.kind} {d.table} {d.row} {d.column}: {d.said} / {d.stands}{d.words}"
            for d in report.differences if d.kind != "guard"]  # fmt: skip


@pytest.mark.django_db
def test_the_demo_agrees() -> None:
    sample.run("DROP TABLE IF EXISTS sample_jar, sample_note, sample_shelf CASCADE")
    call_command("load_demo", verbosity=0)
    report = reconcile()
    assert report.agrees, told(report)
    assert told(report) == []
    assert report.rows > 500
    assert report.signatures > 10


@pytest.mark.usefixtures("before")
def test_a_database_of_an_earlier_version_agrees_once_migrated() -> None:
    report = reconcile()
    assert report.agrees, told(report)
    assert told(report) == []
    assert report.rows > 500
    newest = Baseline.objects.latest("pk")
    assert extend_baseline() == 0
    assert Baseline.objects.latest("pk") == newest


def test_values_of_every_kind_agree_however_they_came(shelf: sample.Shelf) -> None:
    jar = sample.Jar.objects.create(
        shelf=shelf, name="Ünïcode “q” \\ \n", mass=Decimal("1.5"), loose=Decimal("1.0"),
        ratio=0.1 + 0.2, big=2**60, details={"b": [1.50, None], "a": "x"}, blob=b"\x00\xff",
    )  # fmt: skip
    sample.run("UPDATE sample_jar SET loose = 1.00, opened_at = now(), big = NULL")
    sample.run("UPDATE sample_jar SET details = '[1e3]', ratio = 'NaN', blob = NULL")
    jar.delete()
    sample.Jar.objects.create(pk=jar.pk, shelf=shelf, name="Again")
    sample.Jar.objects.filter(pk=jar.pk).update(full=True)
    report = reconcile(own(sample.Shelf, sample.Jar, sample.Note))
    assert told(report) == []


def test_a_change_that_was_put_back_is_told_by_the_entries(shelf: sample.Shelf) -> None:
    unguarded("UPDATE sample_shelf SET name = 'Elsewhere' WHERE id = %s", shelf.pk)
    sample.run("UPDATE sample_shelf SET name = 'Top' WHERE id = %s", shelf.pk)
    report = reconcile(own(sample.Shelf))
    (unseen,) = [one for one in report.differences if one.kind == "unseen"]
    assert (unseen.said, unseen.stands, unseen.row) == ("Top", "Elsewhere", shelf.pk)
    assert report.counts["unseen"] == 1


def test_what_was_changed_unseen_before_it_was_removed_is_told(shelf: sample.Shelf) -> None:
    unguarded("UPDATE sample_shelf SET name = 'Elsewhere' WHERE id = %s", shelf.pk)
    sample.run("DELETE FROM sample_shelf WHERE id = %s", shelf.pk)
    told_of = [(one.kind, one.said, one.stands) for one in reconcile(own(sample.Shelf)).differences]
    assert ("unseen", "Top", "Elsewhere") in told_of


def test_a_removed_row_that_stands_again_is_told(shelf: sample.Shelf) -> None:
    shelf_id = shelf.pk
    shelf.delete()
    unguarded("INSERT INTO sample_shelf (id, name) VALUES (%s, 'Top')", shelf_id)
    assert [
        one.kind for one in reconcile(own(sample.Shelf)).differences if one.row == shelf_id
    ] == ["unmade"]
