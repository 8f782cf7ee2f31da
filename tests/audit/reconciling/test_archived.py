"""What is archived is carried on: rows whose history is in a file are compared all the same."""

from pathlib import Path

import pytest

from audit.reconciling.models import Carried
from audit.reconciling.reconcile import reconcile
from audit.reconciling.report import Difference, Kind, Report
from audit.reconciling.tables import GovernedTable, governed_tables
from audit.retention.archive import archive_before
from audit.retention.models import Archive
from audit.sealing.seal import seal
from stations.equipment.models import Site
from tests.audit.months import begin_in, roll_at
from tests.audit.sample import run
from tests.audit.sealed import unguarded
from tests.cast import make_sites

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("only_ours")]


def tables() -> list[GovernedTable]:
    """Those of this test; the others' rows were made before the history was emptied."""
    return [table for table in governed_tables() if table.name == "stations_site"]


def site(code: str) -> Site:
    return Site.objects.get(code=code)


def of_sites(report: Report) -> list[Difference]:
    return [one for one in report.differences if one.kind not in {Kind.GUARD, Kind.SIGNATURE}]


@pytest.fixture
def archived(tmp_path: Path) -> list[Archive]:
    """Two archived months: made in one, changed and removed in the other, changed again since."""
    begin_in("2021-01")
    make_sites()
    run("INSERT INTO stations_site (code, name, time_zone, altitude, revision)"
        " VALUES ('gone', 'Gone', 'UTC', 0, 1), ('early', 'Early', 'UTC', 0, 1)")  # fmt: skip
    run("DELETE FROM stations_site WHERE code = 'early'")
    run("UPDATE stations_site SET name = 'First' WHERE code = 'harbour'")
    seal()
    roll_at("2021-02")
    run("UPDATE stations_site SET name = 'Second' WHERE code = 'harbour'")
    run("UPDATE stations_site SET name = 'Third', altitude = 12.50 WHERE code = 'harbour'")
    run("DELETE FROM stations_site WHERE code = 'gone'")
    seal()
    roll_at("2021-03")
    run("UPDATE stations_site SET name = 'Fourth' WHERE code = 'harbour'")
    seal()
    return archive_before(by=None, month="2021-03", folder=tmp_path, reason="over")


def test_what_stands_agrees_with_what_is_carried_on(archived: list[Archive]) -> None:
    january, february = archived
    assert len(january.carried) == len(february.carried) == 64
    carried = Carried.objects.filter(table_name="stations_site").order_by("pk")
    told = [(one.through, one.operation) for one in carried]
    assert told.count((january.last_id, "created")) == 3
    assert sorted(operation for through, operation in told if through == february.last_id) == [
        "changed", "removed",
    ]  # fmt: skip
    changed = carried.get(operation="changed").changes
    assert changed["name"] == ["First", "Third"]
    assert of_sites(reconcile(tables())) == []


def test_what_is_altered_is_told_with_what_the_archive_said(archived: list[Archive]) -> None:
    unguarded("UPDATE stations_site SET altitude = 13 WHERE code = 'harbour'")
    unguarded("UPDATE stations_site SET name = 'Elsewhere' WHERE code = 'upland'")
    told = {(one.column, one.said, one.stands) for one in of_sites(reconcile(tables()))}
    assert told == {("altitude", "12.50", "13"), ("name", "Upland", "Elsewhere")}


def test_rows_gone_and_rows_put_back_are_told(archived: list[Archive]) -> None:
    upland = site("upland").pk
    unguarded("DELETE FROM stations_site WHERE code = 'upland'")
    unguarded("INSERT INTO stations_site (code, name, time_zone, altitude, revision)"
              " VALUES ('gone', 'Gone', 'UTC', 0, 1)")  # fmt: skip
    told = {(one.kind, one.row) for one in of_sites(reconcile(tables()))}
    assert told == {(Kind.LOST, upland), (Kind.UNMADE, site("gone").pk)}


@pytest.mark.parametrize(
    "forgery",
    [
        "UPDATE audit_carried SET changes = jsonb_set(changes, '{name,1}', '\"Elsewhere\"')"
        " WHERE operation = 'created'",
        "DELETE FROM audit_carried WHERE operation = 'removed'",
        "UPDATE audit_carried SET row_id = row_id + 1000 WHERE operation = 'changed'",
    ],
)
def test_what_is_carried_on_cannot_be_forged(archived: list[Archive], forgery: str) -> None:
    unguarded(forgery)
    told = [one.words for one in reconcile(tables()).differences if one.kind == Kind.CARRIED]
    assert told
    assert all("is not what its record says" in words for words in told)


def test_unseen_changes_are_told_across_archives(archived: list[Archive]) -> None:
    unguarded("UPDATE stations_site SET name = 'Elsewhere' WHERE code = 'harbour'")
    run("UPDATE stations_site SET name = 'Fourth' WHERE code = 'harbour'")
    (one,) = of_sites(reconcile(tables()))
    assert (one.kind, one.said, one.stands) == (Kind.UNSEEN, "Fourth", "Elsewhere")


def test_the_signing_key_made_within_the_archived_months_is_no_difference(
    archived: list[Archive],
) -> None:
    keys = [table for table in governed_tables() if "key" in table.name and "audit" in table.name]
    assert keys
    assert of_sites(reconcile(keys)) == []
