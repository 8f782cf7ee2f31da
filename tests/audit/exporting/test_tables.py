"""The tables beside an exported history, checked without a database."""

from collections.abc import Callable
from pathlib import Path

import pytest
from django.core.management import call_command

from audit.exporting.bundle import bundle
from audit.ledger.__main__ import main
from audit.ledger.bundle.check import verify
from audit.ledger.bundle.report import Kind, Report
from audit.ledger.bundle.tables import Tables
from audit.reconciling.tables import GovernedTable, governed_tables, tables_of
from audit.reconciling.taking import table_lines
from audit.retention.archive import archive_before
from audit.sealing.seal import seal
from tests.audit import sample
from tests.audit.months import begin_in, roll_at
from tests.audit.sample import run
from tests.audit.sealed import unguarded

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]

FORGED = {
    "altered": ("UPDATE sample_jar SET mass = 2.5", "the history says 1.500, 2.500 stands there"),
    "cleared": ("UPDATE sample_jar SET mass = NULL", "the history says 1.500, nothing stands"),
    "gone": ("DELETE FROM sample_jar", "is gone, and no entry removed it"),
    "put in": (
        "INSERT INTO sample_shelf (name) VALUES ('Mine')", "stands in its table, and no entry",
    ),
}  # fmt: skip


def own() -> list[GovernedTable]:
    return list(tables_of([sample.Shelf, sample.Jar]))


def jars() -> None:
    """A shelf with a jar that was changed, and one that was removed again."""
    run("INSERT INTO sample_shelf (name, site_id) VALUES ('Top', 3), ('Gone', 3)")
    seal()
    run("INSERT INTO sample_jar"
        " (shelf_id, name, mass, loose, ratio, big, \"full\", details, secret)"
        " SELECT id, 'Jar', 1, 1.0, 0.25, 9007199254740995, false, '{\"a\": [1.5, null]}', 's'"
        " FROM sample_shelf WHERE name = 'Top'")  # fmt: skip
    run("UPDATE sample_jar SET mass = 1.5, loose = 1.00, opened_at = now(), blob = '\\x00ff'")
    run("DELETE FROM sample_shelf WHERE name = 'Gone'")


def compared(lines: list[bytes], history: list[bytes] | None = None) -> Report:
    tables = Tables(lines)
    report = verify(tables.watch(history if history is not None else bundle()))
    tables.compare(report)
    return report


def taken(tables: list[GovernedTable] | None = None) -> list[bytes]:
    """Tables first, then everything is sealed and the bundle can be exported."""
    lines = list(table_lines(own() if tables is None else tables))
    seal()
    return lines


def test_tables_that_are_what_the_history_says() -> None:
    jars()
    report = compared(taken())
    assert report.intact, list(report.lines())
    assert report.rows == 2
    assert "The 2 rows of the tables are what it says." in next(iter(report.lines()))


@pytest.mark.parametrize("way", FORGED)
def test_what_was_done_past_the_triggers_is_named(way: str) -> None:
    jars()
    statement, words = FORGED[way]
    unguarded(statement)
    report = compared(taken())
    assert report.sealed
    assert not report.intact
    (told,) = [one.words for one in report.findings if one.kind is Kind.DIFFERS]
    assert words in told
    assert "The tables are NOT what it says: 1 difference" in next(iter(report.lines()))


def test_entries_written_after_the_tables_count_for_later() -> None:
    jars()
    lines = list(table_lines(own()))
    run("UPDATE sample_jar SET mass = 3")
    seal()
    assert compared(lines).intact


def test_a_bundle_of_before_the_tables_is_told() -> None:
    jars()
    seal()
    history = list(bundle())
    run("UPDATE sample_jar SET mass = 3")
    report = compared(taken(), history)
    assert any("export the tables first" in one.words for one in report.findings)


def _without_a_row(lines: list[bytes]) -> list[bytes]:
    return [line for line in lines if not line.startswith(b'["row","sample_shelf"')]


def _cut(lines: list[bytes]) -> list[bytes]:
    return lines[:-1]


def _garbled(lines: list[bytes]) -> list[bytes]:
    return [*lines[:1], b"\xff\n", *lines[1:]]


def _of_another(lines: list[bytes]) -> list[bytes]:
    return [lines[0].replace(b'"origin":"', b'"origin":"other/'), *lines[1:]]


@pytest.mark.parametrize("damage", [_without_a_row, _cut, _garbled, _of_another])
def test_damage_of_the_file_is_told(damage: Callable[[list[bytes]], list[bytes]]) -> None:
    jars()
    report = compared(damage(taken()))
    assert not report.intact


def test_what_is_archived_is_carried_on(tmp_path: Path) -> None:
    seal()
    sites = [table for table in governed_tables() if table.name == "stations_site"]
    archives = [table for table in governed_tables() if table.name == "audit_archive"]
    begin_in("2021-01")
    run("INSERT INTO stations_site (code, name, time_zone, altitude, revision)"
        " VALUES ('a', 'A', 'UTC', 0, 1), ('b', 'B', 'UTC', 0, 1)")  # fmt: skip
    seal()
    roll_at("2021-02")
    run("UPDATE stations_site SET name = 'Z' WHERE code = 'a'")
    seal()
    archive_before(by=None, month="2021-02", folder=tmp_path, reason="over")
    assert compared(taken(sites + archives)).intact
    unguarded("UPDATE stations_site SET altitude = 7 WHERE code = 'b'")
    told = [one.words for one in compared(taken(sites + archives)).findings]
    assert any("altitude: the history says 0, 7 stands there" in words for words in told)
    forged = [
        line.replace(b'\\"B\\"', b'\\"C\\"') if line.startswith(b'["carried"') else line
        for line in taken(sites + archives)
    ]
    told = [one.words for one in compared(forged).findings]
    assert any("was changed" in words for words in told)


def test_the_command_does_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    jars()
    tables, history = tmp_path / "tables.jsonl", tmp_path / "bundle.jsonl"
    tables.write_bytes(b"".join(taken()))
    history.write_bytes(b"".join(bundle()))
    assert main(["verify", str(history), "--tables", str(tables)]) == 3
    assert "The 2 rows of the tables are what it says." in capsys.readouterr().out
    assert main(["verify", str(history), "--tables", str(history)]) == 2


def test_a_file_by_the_command(tmp_path: Path) -> None:
    call_command("export_tables", str(tmp_path / "all.jsonl"), verbosity=0)
    raw = (tmp_path / "all.jsonl").read_bytes()
    assert raw.startswith(b'["tables",{"format":"portaledger-tables-1"')
    assert b'["row","audit_structure"' in raw
