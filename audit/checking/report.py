"""What a check found, as it is stored and as it is explained."""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from audit import runs
from audit.capture.models import Entry
from audit.checking.models import HistoryCheck
from audit.ledger.bundle.report import Finding, Kind, Report
from audit.runs import Group
from audit.sealing.store import entries_at

KEPT = 25  # findings of one kind; of more, only how many there are
LINKED = 5  # entries that one finding leads to
UNSEALED = re.compile(r"never sealed: id (\d{1,18}),")

HERE = (
    ("from the bundle itself", "from this history itself"),
    ("give it with --key", "give it to another check"),
    ("give the file with --archive", "check the whole with it offline"),
    ("give the key with --witness", "check it offline with the key"),
    ("export again", "check again"),
    ("of this bundle", "of this history"),
    (" in this file", " in the ledger"),
    ("this file", "this history"),
)

MEANING: dict[Kind, tuple[str, str]] = {
    Kind.MISSING: ("Missing", "Sealed once, and no longer there: somebody removed them."),
    Kind.ALTERED: ("Altered", "What stands there now is not what was sealed."),
    Kind.INSERTED: ("Inserted", "Never sealed, although later entries are: put there by hand."),
    Kind.REORDERED: ("Re-ordered", "Sealed in another place than they stand in now."),
    Kind.REWRITTEN: (
        "Rewritten",
        "Entries and their seal were both changed: something in this stretch is not what was "
        "signed for, and this history alone can't say which entry.",
    ),
    Kind.CUT: ("Cut off", "The end that a checkpoint speaks of is not there."),
    Kind.UNPROVEN: ("Not proven", "No signature that can be believed covers these."),
    Kind.FORGED: ("Not believed", "A checkpoint that no known key signed, or of another history."),
    Kind.UNREADABLE: ("Unreadable", "The ledger's own rows are damaged here."),
    Kind.UNTIMELY: (
        "Out of its time",
        "Sealed as if it had come then, and it can't have: put in afterwards, and not marked so.",
    ),
    Kind.LATE: (
        "Sealed late",
        "Marked so when sealed: put in afterwards, or a clock was wrong. Find out which.",
    ),
    Kind.DIFFERS: ("Tables", "A table is not what the history says."),
    Kind.SIGNATURE: (
        "Not signed",
        "A signature by passkey that does not prove itself: the passkey did not give it, or what "
        "is kept of it is not what it gave.",
    ),
    Kind.NOTE: ("Remarks", "Nothing is wrong here; to know when judging the answer."),
}


def outcome_of(report: Report) -> dict[str, object]:
    """The report as fields of a HistoryCheck."""
    return {
        "intact": report.intact,
        "verdict": next(iter(report.lines())),
        "size": report.size,
        "checked": report.size,
        "entries": report.entries,
        "left_out": report.left_out,
        "proven": max(report.proven, 0),
        "checkpoints": report.checkpoints,
        "counts": dict(Counter(str(one.kind) for one in report.findings)),
        "findings": list(_kept(report.findings)),
    }


def groups_of(check: HistoryCheck) -> list[Group[Mapping[str, Any]]]:
    """Its findings by kind, what is wrong before what is only remarked."""
    return runs.groups_of(check, MEANING, lambda one: one)


def _kept(findings: Iterable[Finding]) -> Iterator[dict[str, Any]]:
    seen: Counter[Kind] = Counter()
    for one in findings:
        seen[one.kind] += 1
        if seen[one.kind] <= KEPT:
            yield {"kind": str(one.kind), "words": _as_page(one.words), "entries": _entries(one)}


def _as_page(words: str) -> str:
    """The check's own words, where they speak of a file and a command line."""
    for there, here in HERE:
        words = words.replace(there, here)
    return words[:1].upper() + words[1:]


def _entries(finding: Finding) -> list[int]:
    """The first entries it is about that are there to be looked at, by id."""
    if finding.first is None or finding.last is None:
        named = UNSEALED.search(finding.words)
        ids = [int(named[1])] if named else []
    else:
        start = finding.first - 1
        ids = entries_at(start, min(finding.last, start + LINKED))
    return list(Entry.objects.filter(pk__in=ids).order_by("pk").values_list("pk", flat=True))
