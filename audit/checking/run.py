"""Running a check: by one worker at a time, anew from the beginning if that one is killed."""

import time
from collections.abc import Callable

from django.conf import settings

from audit.checking.actions import CHECKS
from audit.checking.models import HistoryCheck
from audit.checking.report import outcome_of
from audit.checking.tree import check_tree
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.ledger.note import Verifier
from audit.sealing import store
from audit.sealing.store import newest_checkpoint

EVERY = 1.0  # seconds between two lines of progress


def run_check(pk: int) -> bool:
    """Run the check, unless it has ended or another worker is at it; whether this call ended it."""
    newest = newest_checkpoint()
    return CHECKS.run(
        pk, _checked, checked=0, size=store.size(), newest=newest.note if newest else "",
        newest_at=newest.made_at if newest else None,
    )  # fmt: skip


def _checked(claimed: HistoryCheck) -> dict[str, object]:
    report = verify(
        bundle(),
        keys=[Verifier.read(claimed.key)] if claimed.key else [],
        since=[claimed.since] if claimed.since else [],
        witnesses=[one.key for one in settings.LEDGER_WITNESSES],
        quorum=settings.LEDGER_WITNESSES_NEEDED or None,
        progress=_progress(claimed),
    )
    check_tree(report)
    return outcome_of(report)


def _progress(claimed: HistoryCheck) -> Callable[[int], None]:
    """Says how far it is about once a second. Raises TakenOverError."""
    due = time.monotonic() + EVERY

    def tell(lines: int) -> None:
        nonlocal due
        if time.monotonic() < due:
            return
        # Nearly every line is an entry; the few others make no difference to a bar.
        CHECKS.alive(claimed, checked=min(lines, claimed.size))
        due = time.monotonic() + EVERY

    return tell
