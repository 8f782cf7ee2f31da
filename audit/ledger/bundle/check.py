"""The check of a bundle: reads it once, believes only what a signature proves, says the rest."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from itertools import islice

from audit.ledger.bundle.archived import Archives, Copy
from audit.ledger.bundle.asked import Asked, Rule
from audit.ledger.bundle.explain import Difference, explain
from audit.ledger.bundle.keys import MadeKeys
from audit.ledger.bundle.lines import Archived, End, Fingerprints, Gap, Header, Mark, read
from audit.ledger.bundle.report import Kind, Report, numbers, plain
from audit.ledger.bundle.scan import Scan
from audit.ledger.bundle.signed import Signed
from audit.ledger.bundle.times import Times
from audit.ledger.bundle.trust import Kept, Trust
from audit.ledger.bundle.witnessed import Witnessed
from audit.ledger.checkpoint import Checkpoint, read_checkpoint
from audit.ledger.errors import LedgerError
from audit.ledger.note import Verifier
from audit.ledger.witness.cosignature import WitnessKey

MOST_PENDING = 100_000  # entries without fingerprints held at once
CHUNK = 4096  # lines read at once


def verify(
    lines: Iterable[bytes],
    *,
    keys: Sequence[Verifier] = (),
    since: Sequence[str] = (),
    archives: Mapping[str, Iterable[bytes]] | None = None,
    witnesses: Sequence[WitnessKey] = (),
    quorum: int | None = None,
    progress: Callable[[int], None] | None = None,
    signed: Signed | None = None,
) -> Report:
    """Check a bundle given as lines with their newlines.

    `keys` are the signing keys the reader trusts (else the first the bundle names, with a note
    saying so); `since` are checkpoint notes kept outside; `archives` are the lines of archives by
    the names of their files; `progress` is told the lines read, at every line of fingerprints.
    With `signed`, that of a history whose archive this is, it is told of signatures and judges.
    Damage of any kind ends in the report. Raises LedgerError only for an unreadable `since`, or
    witnesses that can't make the quorum.
    """
    check = Check(keys, Kept(since), witnesses, quorum)
    check.signed = signed or check.signed
    for number, entries, other in _blocks(lines):
        check.take(number, entries, other)
        if progress:
            progress(number)
    check.close()
    copies = [Copy(name, archived) for name, archived in (archives or {}).items()]
    for copy in copies:
        copy.report = verify(copy, keys=check.keys, signed=check.signed)
    check.archives.judge(check.report, copies)
    if signed is None:
        check.signed.judge(check.report)
    return check.report


def _blocks(lines: Iterable[bytes]) -> Iterator[tuple[int, list[bytes], bytes]]:
    """Entries with the line that ends them (empty at the end of a chunk), and its number."""
    feed, number = iter(lines), 0
    while chunk := list(islice(feed, CHUNK)):
        start = 0
        for at in [at for at, raw in enumerate(chunk) if raw[:1] != b"{"]:
            yield number + at + 1, chunk[start:at], chunk[at]
            start = at + 1
        number += len(chunk)
        yield number, chunk[start:], b""


class Check:
    """The state of one check; after `close` the `report` is final, but for the `archives`."""

    def __init__(
        self,
        keys: Sequence[Verifier],
        kept: Kept,
        witnesses: Sequence[WitnessKey] = (),
        quorum: int | None = None,
    ) -> None:
        self.report = Report()
        self._witnessed = Witnessed(witnesses, quorum, self.report)
        self.archives = Archives()
        self.signed = Signed()
        self._asked = Asked()
        self._trust = Trust(keys, self.report)
        self._kept = kept
        self._scan = Scan(kept.sizes)
        self._times = Times()
        self._made = MadeKeys()
        self._every = False
        self._proven = Difference()
        self._later: list[tuple[str, int, bytes]] = []
        self._end: End | None = None
        self._marks = 0
        self._pending: list[bytes] = []

    def take(self, number: int, entries: list[bytes], other: bytes) -> None:
        """Take entries (lines) and the other line that follows them, if any, with its number."""
        self._pending += entries
        if not other:
            if len(self._pending) > MOST_PENDING:
                self._stray()
            return
        start = self._scan.size
        if self._pending and not self._end and self._scan.block_as_stated(self._pending, other):
            self._times.look(start, self._pending)
            self._look(start, self._pending)
            self.report.entries += len(self._pending)
            self._pending = []
            return
        try:
            self._take(number, other)
        except LedgerError as error:
            # The entries stay pending: it may have been their fingerprints that are unreadable.
            self.report.add(Kind.UNREADABLE, f"line {number:,}: {plain(error)}")

    @property
    def keys(self) -> list[Verifier]:
        """The signing keys believed by now."""
        return self._trust.known

    def close(self) -> None:
        """Finish: what is left over, kept checkpoints, the explanation of differences."""
        if self._pending and not self._pending[-1].endswith(b"\n"):
            self._pending[-1] += b"\n"
        self._stray()
        report, scan = self.report, self._scan
        report.size = scan.size
        self._unsigned_tail()
        self._settle_later()
        self._times.close(report, self._marks, every=self._every)
        whole = report.left_out == 0
        self._made.judge(report, self._trust.named, self._trust.signing, whole=whole)
        for state, note in self._kept.compare(report, self._trust, scan.roots):
            if self._trust.signed(note):
                self._witnessed.look(note, state)
        self._witnessed.close(self._rule())
        report.findings += (found := explain(self._proven))
        report.proven -= sum(one.last - one.first + 1 for one in found if one.first and one.last)
        self._check_end()

    def _rule(self) -> Rule | None:
        try:
            return self._asked.rule()
        except LedgerError as error:
            self.report.add(Kind.UNREADABLE, f"what the policy asks of witnesses: {plain(error)}")
            return None

    def _look(self, start: int, entries: list[bytes]) -> None:
        self._asked.look(entries)
        self.archives.look(entries)
        self.signed.look(entries, start + 1)
        self._made.look(entries)

    def _settle_records(self, bad: Collection[bytes] | None) -> None:
        self.archives.settle(bad)
        self._made.settle(bad)

    def _stray(self) -> None:
        """Entries that no line of fingerprints speaks of."""
        if self._pending:
            self._block(Fingerprints(self._scan.size, b""))

    def _take(self, number: int, raw: bytes) -> None:
        line = read(raw)
        if (number == 1) is not isinstance(line, Header) or self._end:
            raise LedgerError("line", raw, "the history's line first, the end's last")
        if isinstance(line, Fingerprints):
            self._block(line)
            return
        self._stray()
        match line:
            case Header():
                self.report.origin, self._every = line.origin, line.every
                self._trust.meet(line)
            case Archived():
                self._archived(line)
            case Gap():
                self._scan.gap(line)
                self.report.left_out += line.count
            case Mark():
                self._mark(line)
            case End():
                self._end = line

    def _block(self, line: Fingerprints) -> None:
        pending, self._pending = self._pending, []
        self.report.entries += len(pending)
        self._require_place(line.first)
        self._look(self._scan.size, pending)
        self._times.look(self._scan.size, pending)
        self._scan.block(pending, line)

    def _archived(self, line: Archived) -> None:
        self._require_place(line.first)
        self.archives.claim(line)
        self._scan.archived(line)
        self.report.left_out += len(line.hashes)
        self.report.archived += len(line.hashes)

    def _require_place(self, first: int) -> None:
        if first != self._scan.size:
            words = f"fingerprints of entry no. {first + 1:,} stand after {self._here()}"
            self.report.add(Kind.UNREADABLE, words)

    def _mark(self, mark: Mark) -> None:
        self._marks += 1
        try:
            state = self._trust.open(mark.note)
        except LedgerError as error:
            self.report.add(Kind.FORGED, f"a checkpoint after {self._here()}: {plain(error)}")
            return
        if state is None:
            self._times.forget()
            self._later.append((mark.note, self._scan.size, self._scan.root))
        elif state.origin != self.report.origin:
            self.report.add(Kind.FORGED, f"a checkpoint of another history after {self._here()}")
        else:
            self._settle(state, mark)

    def _settle(self, state: Checkpoint, mark: Mark) -> None:
        """A signed state: what came since the last one is proven, or something in it is wrong."""
        scan, stretch = self._scan, self._scan.stretch
        if state.size < stretch.start:
            words = f"the checkpoint of entry no. {state.size:,} stands after {self._here()}"
            self.report.add(Kind.REORDERED, words)
            return
        width = state.size - stretch.start - stretch.left_out
        if scan.states(state.size, state.root):
            self._settle_records(stretch.difference.false)
            if stretch.difference.found or stretch.difference.sealed:
                self._times.drop()  # which entry stands where is not known
            self._proven.sealed += stretch.difference.sealed
            self._proven.found += stretch.difference.found
            self.report.proven += width
            self._witnessed.look(mark.note, state)
        elif scan.finds(state.size, state.root):
            self._settle_records(())
            words = f"{numbers(stretch.start + 1, state.size)}: their fingerprints in this file "
            self.report.add(Kind.ALTERED, words + "were changed, the entries themselves hold")
            self.report.proven += width
            self._witnessed.look(mark.note, state)
        else:
            self._settle_records(None)
            self._times.drop()
            self._unproven(state, stretch.start, stretch.listed + stretch.left_out)
        self._times.settle(self.report, state.stamp, state.size)
        self.report.checkpoints += 1
        frontier = mark.frontier
        if not scan.go_on(state.size, state.root, frontier) or scan.frontier != frontier:
            words = f"after entry no. {state.size:,}: the frontier beside the checkpoint is damaged"
            self.report.add(Kind.UNREADABLE, words)

    def _unproven(self, state: Checkpoint, start: int, listed: int) -> None:
        signed = state.size - start
        words = f"{numbers(start + 1, max(state.size, start + 1))} do not give the signed state: "
        if listed == signed:
            words += "at least one was altered or re-ordered"
        else:
            words += f"{signed:,} are signed for and {listed:,} are here"
        words += ". Their fingerprints were changed as well, so this file can't say which."
        self.report.add(Kind.REWRITTEN, words, start + 1, max(state.size, start + 1))

    def _settle_later(self) -> None:
        """Checkpoints whose key was not believed when they came up: it may be by now."""
        for note, size, root in self._later:
            state = read_checkpoint(note)
            if not self._trust.signed(note):
                self._trust.strange(state)
            elif (state.origin, state.size, state.root) != (self.report.origin, size, root):
                words = f"the checkpoint of entry no. {state.size:,} does not fit the entries here"
                self.report.add(Kind.REWRITTEN, words, 1, state.size)
            else:
                self.report.checkpoints += 1
                self._witnessed.look(note, state)

    def _unsigned_tail(self) -> None:
        stretch = self._scan.stretch
        if not self.report.checkpoints:
            self.report.add(Kind.UNPROVEN, "no checkpoint here holds: nothing is proven")
        elif stretch.listed or stretch.left_out:
            words = f"{stretch.listed:,} entries after no. {stretch.start:,} come after the last "
            self.report.add(
                Kind.UNPROVEN, words + "checkpoint that holds: no signature covers them"
            )

    def _check_end(self) -> None:
        report, end = self.report, self._end
        if end is None:
            report.add(Kind.CUT, "the file ends without its last line: the copy is incomplete")
            return
        announced = (end.size, end.entries, end.checkpoints)
        here = (report.size, report.entries, self._marks)
        if announced != here and not report.damaged:
            names = "{:,} entries, {:,} of them listed, and {:,} checkpoints"
            there, now = names.format(*announced), names.format(*here)
            report.add(Kind.CUT, f"the last line speaks of {there}; here are {now}")

    def _here(self) -> str:
        return f"entry no. {self._scan.size:,}"
