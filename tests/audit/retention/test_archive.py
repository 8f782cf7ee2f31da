"""Closed months move to files that prove themselves; the tree and its proofs stay."""

import hashlib
import stat
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from pymerkle import InmemoryTree

from audit.capture.models import Entry
from audit.capture.partitions import partitions
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.ledger.checkpoint import read_receipt
from audit.ledger.merkle import leaf_hash
from audit.ledger.proof import extends
from audit.retention.archive import archive_before
from audit.retention.models import Archive
from audit.retention.records import HISTORY_ARCHIVED
from audit.sealing import store
from audit.sealing.keys import verifiers
from audit.sealing.models import Node
from audit.sealing.proofs import consistency, inclusion
from audit.sealing.seal import seal
from tests.audit.exporting.offline import offline
from tests.audit.months import year
from tests.audit.sealed import last_checkpoint, sealed_ids, shelves

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]
SIZES = (11, 40, 7)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "archives"
    made.mkdir()
    return made


@pytest.fixture
def kept() -> str:
    """Three closed months, entries in the open one, and the last checkpoint kept outside."""
    year("2021-01", SIZES)
    shelves(5)
    seal()
    return last_checkpoint().note


def archive(folder: Path, month: str = "2021-03") -> list[Archive]:
    """January and February, and a seal over the records of that."""
    made = archive_before(by=None, month=month, folder=folder, reason="two years are over")
    seal()
    return made


def test_whole_months_leave_and_their_leaves_stay(kept: str, folder: Path) -> None:
    before, leaves, nodes = sealed_ids(), store.size(), Node.objects.count()
    january, february = archive(folder)
    assert (january.entries, february.entries) == (12, 40)  # the key's entry is in January
    assert (january.months, february.months) == ("2021-01", "2021-02")
    assert (january.first_leaf, january.last_leaf, february.first_leaf) == (0, 11, 12)
    assert [one.month for one in partitions()] == ["2021-03", "2021-04"]
    assert sorted(Entry.objects.values_list("pk", flat=True))[:12] == sorted(before[52:])
    assert (store.size(), sealed_ids()[:leaves]) == (leaves + 2, before)
    assert Node.objects.count() >= nodes
    for made in (january, february):
        raw = (folder / made.file).read_bytes()
        assert (made.size, made.sha256) == (len(raw), hashlib.sha256(raw).hexdigest())
        assert raw.count(b"\n{") == made.entries
        assert stat.S_IMODE((folder / made.file).stat().st_mode) == 0o600
    told = Entry.objects.filter(action=HISTORY_ARCHIVED).order_by("pk")
    assert [one.changes["file"][1] for one in told] == [january.file, february.file]
    assert {one.reason for one in told} == {"two years are over"}


def test_an_archive_is_intact_by_itself(kept: str, folder: Path) -> None:
    for made in archive(folder, "2021-04"):
        with (folder / made.file).open("rb") as lines:
            report = verify(lines, keys=verifiers()[:1])
        assert report.intact, list(report.lines())
        assert (report.entries, report.size) == (made.entries, made.checkpoint)


def test_proofs_of_archived_entries_hold_before_an_independent_library(
    kept: str, folder: Path
) -> None:
    """pymerkle builds the tree of what is in the files and in the bundle together."""
    ids = sealed_ids()
    lines = [(folder / made.file).read_bytes() for made in archive(folder)]
    lines.append(b"".join(bundle()))
    entries = [line for raw in lines for line in raw.splitlines() if line.startswith(b"{")]
    peer = InmemoryTree.init_from_entries(entries, algorithm="sha256")
    newest = last_checkpoint()
    assert (peer.get_size(), peer.get_root()) == (newest.size, bytes(newest.root))
    for index in (0, 5, 11, 12, 51, 52, 60):
        proof = inclusion(ids[index])
        assert proof is not None
        theirs = peer.prove_inclusion(index + 1).path
        assert proof.proof == [step for step in theirs if step != proof.leaf]
        assert read_receipt(proof.receipt).covers(leaf_hash(entries[index]))
    for old in (1, 12, 30, 52, 64):
        assert extends(old=old, new=newest.size, old_root=peer.get_root(old),
                       new_root=peer.get_root(), proof=consistency(old, newest.size))  # fmt: skip


def test_sealing_goes_on_and_finds_nothing_beneath(kept: str, folder: Path) -> None:
    archive(folder)
    shelves(3)
    assert seal(beneath=True) == 3
    assert seal(beneath=True) == 0
    assert verify(bundle(), since=[kept]).intact


def test_the_offline_check_says_where_archived_entries_are(
    kept: str, folder: Path, tmp_path: Path
) -> None:
    january, february = archive(folder)
    code, told = offline(tmp_path, b"".join(bundle()), kept)
    assert code == 3, told  # no key is pinned
    assert "intact in this part: 14 of 66 entries" in told
    assert "52 are in archives that were not given" in told
    assert (
        f"Entries no. 1 to 12: archived in history-2021-01.jsonl (SHA-256 {january.sha256})" in told
    )
    assert "not looked at" in told
    assert "fits the checkpoint you kept at entry no. 64" in told
    code, told = offline(tmp_path, b"".join(bundle()), kept, folder / january.file)
    assert "intact in this part: 26 of 66 entries" in told
    files = [folder / made.file for made in (january, february)]
    code, told = offline(tmp_path, b"".join(bundle()), kept, *files)
    assert code == 3, told  # no key is pinned
    assert "is intact: all 66 entries, in order, as they were sealed; 52 of them" in told
    assert "not looked at" not in told


def test_the_command_prints_what_to_keep(kept: str, folder: Path) -> None:
    out = StringIO()
    call_command("archive_history", before="2021-02", to=folder, reason="r", stdout=out)
    (made,) = Archive.objects.all()
    assert out.getvalue() == (
        f"2021-01: 12 entries in history-2021-01.jsonl, {made.size:,} bytes, "
        f"SHA-256 {made.sha256}\n"
    )
    for wrong in ("2021-13", "2021", "last year"):
        with pytest.raises(CommandError, match="no month such as"):
            call_command("archive_history", "--before", wrong, "--to", folder, "--reason", "r")
