"""An archive that was altered is found, and no record of one hides a deletion.

What can not be found: that somebody with the owner's rights wrote, by the front door, a record of
an archive that never was. It is a sealed entry for all to see, and no file will ever fit it.
"""

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.ledger.bundle.report import Kind, Report
from audit.retention.models import Archive
from audit.sealing.seal import seal
from tests.audit.retention.test_archive import archive, folder, kept
from tests.audit.sample import run
from tests.audit.sealed import shelves, unguarded
from tests.services import rounds

__all__ = ["folder", "kept"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]
Chance = random.Random


def check(folder: Path, *since: str) -> Report:
    """The whole history with every archive there is."""
    lines = {path.name: path.read_bytes().splitlines(keepends=True) for path in folder.iterdir()}
    return verify(bundle(), since=since, archives=lines)


def told(report: Report) -> str:
    return "\n".join(report.lines())


def entries_in(lines: list[bytes]) -> list[int]:
    return [at for at, line in enumerate(lines) if line.startswith(b"{")]


def flip(lines: list[bytes], chance: Chance) -> None:
    at = chance.randrange(len(lines))
    raw = bytearray(lines[at])
    raw[chance.randrange(len(raw) - 1)] ^= 1 << chance.randrange(7)
    lines[at] = bytes(raw)


def edit(lines: list[bytes], chance: Chance) -> None:
    at = chance.choice(entries_in(lines))
    lines[at] = lines[at].replace(b'"operation":"created"', b'"operation":"removed"')


def delete(lines: list[bytes], chance: Chance) -> None:
    del lines[chance.choice(entries_in(lines))]


def insert(lines: list[bytes], chance: Chance) -> None:
    one = lines[chance.choice(entries_in(lines))]
    lines.insert(chance.randrange(1, len(lines)), one.replace(b'"id":', b'"id":9'))


def swap(lines: list[bytes], chance: Chance) -> None:
    a, b = chance.sample(entries_in(lines), 2)
    lines[a], lines[b] = lines[b], lines[a]


def cut(lines: list[bytes], chance: Chance) -> None:
    del lines[chance.randrange(1, len(lines)) :]


def drop_a_line(lines: list[bytes], chance: Chance) -> None:
    del lines[chance.randrange(len(lines))]


WAYS: list[Callable[[list[bytes], Chance], None]] = [
    flip, edit, delete, insert, swap, cut, drop_a_line,
]  # fmt: skip


def test_every_altered_archive_is_found(kept: str, folder: Path) -> None:
    (made, _) = archive(folder)
    plain = (folder / made.file).read_bytes().splitlines(keepends=True)
    exported = list(bundle())
    assert check(folder, kept).intact
    for number in range(rounds(1400, 140)):
        chance, lines = Chance(number), list(plain)
        way = WAYS[number % len(WAYS)]
        way(lines, chance)
        report = verify(exported, since=[kept], archives={made.file: lines})
        assert not report.intact, (number, way.__name__)
        assert "no record speaks of its SHA-256" in told(report)


def test_the_altered_entry_is_named(kept: str, folder: Path) -> None:
    (made, _) = archive(folder)
    lines = (folder / made.file).read_bytes().splitlines(keepends=True)
    at = entries_in(lines)
    lines[at[2]] = lines[at[2]].replace(b'"road":', b'"rode":')
    del lines[at[7]]
    words = told(verify(bundle(), archives={"january": lines}))
    assert "- altered: january: Entry no. 3 is not what was sealed" in words
    assert "- missing: january: Entry no. 8: sealed, but not here" in words


def test_another_months_archive_does_not_do(kept: str, folder: Path) -> None:
    january, february = archive(folder)
    lines = (folder / january.file).read_bytes().splitlines(keepends=True)
    report = verify(bundle(), archives={february.file: lines})
    assert report.intact  # by its SHA-256 it is January's, whatever it is called
    assert report.looked_at == january.entries
    assert f"{february.file} (SHA-256 {february.sha256}), not looked at" in told(report)


def test_what_is_merely_gone_is_missing(kept: str, folder: Path) -> None:
    archive(folder)
    unguarded("DELETE FROM audit_entry WHERE id = (SELECT entry_id FROM audit_leaf"
              " WHERE index = 53)")  # fmt: skip
    report = check(folder, kept)
    assert not report.intact
    assert "- missing: Entry no. 54: sealed, but not here" in told(report)
    assert report.looked_at == 52


def gone(first: int, last: int) -> None:
    """Delete entries by their leaves, and put a record of an archive in their place."""
    unguarded("DELETE FROM audit_entry WHERE id IN (SELECT entry_id FROM audit_leaf"
              " WHERE index BETWEEN %s AND %s)", first, last)  # fmt: skip


RECORD = """
INSERT INTO audit_archive (file, sha256, size, first_month, last_month, began_at, ended_at,
    entries, first_id, last_id, first_leaf, last_leaf, leaves, checkpoint)
SELECT 'history-2021-03.jsonl', repeat('a', 64), 1000, '2021-03', '2021-03', now(), now(),
    count(*), min(entry_id), max(entry_id), min(index), max(index),
    encode(sha256(string_agg(hashes, ''::bytea ORDER BY index)), 'hex'), 64
FROM audit_leaf WHERE index BETWEEN %s AND %s
"""


def test_a_record_that_is_no_entry_hides_nothing(kept: str, folder: Path) -> None:
    archive(folder)
    gone(53, 55)
    unguarded(RECORD, 53, 55)
    report = check(folder, kept)
    assert not report.intact
    assert "- missing: Entries no. 54 to 56: sealed, but not here, and no sealed" in told(report)


def test_a_record_written_past_the_program_hides_nothing(kept: str, folder: Path) -> None:
    """Captured and sealed, but as what it is: a change from outside."""
    archive(folder)
    gone(53, 55)
    run(RECORD, 53, 55)
    seal()
    report = check(folder, kept)
    assert not report.intact
    assert "Entries no. 54 to 56: sealed, but not here, and no sealed entry" in told(report)


def test_a_forged_record_by_the_front_door_is_seen_and_no_file_fits_it(
    kept: str, folder: Path
) -> None:
    archive(folder)
    gone(53, 55)
    run("""SELECT set_config('audit.context', '{"actor": "program", "role": "", "road": "console",
        "request_id": "", "action": "history.archived", "reason": ""}', true)""")
    run(RECORD, 53, 55)
    seal()
    report = check(folder, kept)
    assert report.intact
    assert "Entries no. 54 to 56: archived in history-2021-03.jsonl" in told(report)
    assert "intact in this part" in told(report)
    assert "3 are in archives that were not given" in told(report)
    (folder / "history-2021-03.jsonl").write_bytes(b"".join(bundle()))
    assert not check(folder, kept).intact


@pytest.mark.parametrize("claimed", [(0, 12), (1, 11), (0, 10)])
def test_a_true_record_hides_no_other_entries(
    kept: str, folder: Path, claimed: tuple[int, int]
) -> None:
    """A deletion beside an archive, its record stretched in the table to cover that."""
    archive(folder, "2021-02")
    gone(12, 12)
    ids = "(SELECT entry_id FROM audit_leaf WHERE index = %s)"
    unguarded(f"UPDATE audit_archive SET first_id = {ids}, last_id = {ids}", *claimed)
    report = check(folder, kept)
    assert not report.intact
    assert report.looked_at == 0
    assert "- missing" in told(report)


def test_an_altered_record_is_an_altered_entry(kept: str, folder: Path) -> None:
    archive(folder)
    made = Archive.objects.earliest("pk")
    forged = "jsonb_set(changes, '{sha256,1}', to_jsonb(repeat('b', 64)))"
    unguarded(f"UPDATE audit_entry SET changes = {forged}"
              " WHERE row_id = %s AND table_name = 'audit_archive'", made.pk)  # fmt: skip
    report = check(folder, kept)
    assert not report.intact
    assert any(one.kind is Kind.ALTERED for one in report.findings)
    assert "no sealed entry says that exactly these were archived" in told(report)


def test_archived_lines_in_a_file_without_a_record(kept: str, folder: Path) -> None:
    """Whoever edits the export itself: entries written as archived ones."""
    archive(folder)
    shelves(4)
    seal()
    lines = list(bundle())
    at = next(at for at, line in enumerate(lines) if line.startswith(b'["fingerprints"'))
    forged = [line for line in lines[:at] if not line.startswith(b"{")]
    forged += [lines[at].replace(b'["fingerprints",', b'["archived",2,'), *lines[at + 1 :]]
    assert "no sealed entry says that exactly these were" in told(verify(forged))
    assert not verify(forged).intact
