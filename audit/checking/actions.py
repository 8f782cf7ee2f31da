"""Asking for a check. A worker takes it up within seconds: audit.tasks.take_up_checks."""

import re
from collections.abc import Iterator
from datetime import timedelta

from django.urls import reverse

from audit.alarms import Alarm, register_alarm
from audit.capture.context import Actor, recorded
from audit.checking.models import HistoryCheck
from audit.errors import Invalid
from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.errors import LedgerError
from audit.ledger.note import Verifier
from audit.reading.access import require_every_site
from audit.runs import Runs
from audit.vocabulary import register

CHECK_ASKED = register("history.check_asked", "Asked whether the history is intact")
CHECKED = register("history.checked", "Checked the history")
CHECK_STOPPED = register("history.check_stopped", "Stopped a check of the history")


SILENT = timedelta(seconds=45)  # a worker says every second how far it is
CHECKS = Runs(
    HistoryCheck,
    "check",
    "history_check",
    SILENT,
    CHECK_ASKED,
    CHECKED,
    CHECK_STOPPED,
    advice="Export the history and check it offline.",
)


@register_alarm
def found_by_check() -> Iterator[Alarm]:
    """A check of the history that found something, until a newer one finds nothing."""
    check = CHECKS.newest_answer()
    if check and not check.intact:
        yield Alarm(check.verdict, reverse("audit:check", args=[check.pk]), since=check.finished_at)


LONGEST = 20_000  # characters: a note has a few hundred, the mail around it not many more
DASHES = re.compile(r"^-{20,}$", re.MULTILINE)
NOTE = "the text of a checkpoint: origin, number, root, a blank line and its signature"


def note_in(text: str) -> str:
    """The note in a text: without the mail above its dashes, ending as a note ends.

    Empty for an empty text. Raises Invalid (since) for one that holds no checkpoint.
    """
    plain = text.replace("\r\n", "\n")
    note = DASHES.split(plain)[-1].strip("\n \t")
    if not note:
        return ""
    try:
        read_checkpoint(note + "\n")
    except LedgerError:
        raise Invalid("since", note, NOTE) from None
    return note + "\n"


def key_in(text: str) -> str:
    """A signing key as somebody wrote it down. Raises Invalid (key)."""
    written = text.strip()
    if written:
        try:
            Verifier.read(written)
        except LedgerError:
            raise Invalid("key", written, "a public key: name+id+base64, on one line") from None
    return written


def start_check(*, by: Actor, since: str = "", key: str = "") -> HistoryCheck:
    """Ask for a check, against a checkpoint kept outside and with a key written down, if given.

    One nobody is at any more is stopped first. Raises NotPermitted, Invalid (since, key), and
    Refused while another is under way.
    """
    with recorded(by=by, action=CHECK_ASKED):
        require_every_site(by)
        note, public = note_in(since), key_in(key)
        made = CHECKS.begin(by=by, since=note, key=public)
        if made is None:
            raise CHECKS.under_way()
    made.refresh_from_db()
    return made
