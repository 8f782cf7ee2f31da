"""What a reconciliation found, in sentences and in groups for a page."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from audit import runs
from audit.reading.named import page_of_thing
from audit.reconciling.models import Reconciliation
from audit.reconciling.report import Kind
from audit.runs import Group

NOTHING = "nothing"
LONGEST = 120  # characters of a value that are shown

MEANING: dict[Kind, tuple[str, str]] = {
    Kind.ALTERED: ("Another value", "What stands in the table is not what the history says."),
    Kind.LOST: ("Gone", "The history made this, never removed it, and it is not there."),
    Kind.UNMADE: ("Never made", "It stands in the table, and no entry made it or one removed it."),
    Kind.SIGNATURE: ("Signatures", "What was signed is not what stands there now."),
    Kind.KEY: (
        "Passkeys",
        "Somebody can sign with a passkey that they did not add, or can't with one they did.",
    ),
    Kind.GUARD: ("Guards", "The database does not guard itself as it was set up to."),
    Kind.CARRIED: ("Archives", "What is carried on from archived entries was changed."),
    Kind.UNSEEN: (
        "Changed unseen",
        "An entry found another value than the one before it left: in between, it was changed "
        "without an entry. This stays in the history for good, also once the value is right again.",
    ),
}


@dataclass(frozen=True, slots=True)
class Line:
    """One difference as a page shows it."""

    word: str
    label: str
    url: str
    column: str
    said: str
    stands: str
    words: str
    entry: int | None


def groups_of(run: Reconciliation) -> list[Group[Line]]:
    """What it found by kind, in the order of MEANING."""
    return runs.groups_of(run, MEANING, line_of)


def line_of(one: Mapping[str, Any]) -> Line:
    """One stored difference for a page."""
    type_, pk = one["subject_type"], one["subject_id"]
    return Line(
        word=one["word"],
        label=one["label"] or (f"#{one['row']}" if one["row"] else ""),
        url=page_of_thing(type_, pk),
        column=one["column_word"],
        said=_shown(one["said"]),
        stands=_shown(one["stands"]),
        words=one["words"],
        entry=one["entry"],
    )


def sentence(one: Mapping[str, Any]) -> str:
    """One stored difference in one line: 'Slot 12, Harbour 1: label: history says …'."""
    line = line_of(one)
    about = ", ".join(filter(None, (line.word, line.label)))
    if line.words:
        return f"{about}: {line.words}" if about else line.words
    if not line.column:
        return f"{about} (#{one['row']}): {MEANING[Kind(one['kind'])][0].lower()}"
    return f"{about}: {line.column}: the history says {line.said}, {line.stands} stands there"


def _shown(value: str | None) -> str:
    if value is None or value == "":
        return NOTHING
    return value if len(value) <= LONGEST else f"{value[:LONGEST]}…"
