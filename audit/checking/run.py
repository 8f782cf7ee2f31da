"""Running a check: by one worker at a time, anew from the beginning if that one is killed."""

import time
from collections.abc import Callable

from celery.exceptions import SoftTimeLimitExceeded
from django.conf import settings
from django.db.models.functions import Now

from audit.checking.actions import CHECK_STOPPED, CHECKED, CHECKS
from audit.checking.models import HistoryCheck
from audit.checking.report import outcome_of
from audit.checking.tree import check_tree
from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.ledger.note import Verifier
from audit.runs import ATTEMPTS, RunState
from audit.sealing import store
from audit.sealing.store import newest_checkpoint

EVERY = 1.0  # seconds between two lines of progress
TOO_LONG = "It took longer than a worker is given: export the history and check it offline."
FAILED = "The program failed. Export the history and check it offline."


class TakenOverError(Exception):
    """Somebody stopped this check, or another worker has it now."""


def run_check(pk: int) -> bool:
    """Run the check, unless it has ended or another worker is at it; whether this call ended it."""
    claimed = _claim(pk)
    if claimed is None:
        return False
    try:
        keys = [Verifier.read(claimed.key)] if claimed.key else []
        since = [claimed.since] if claimed.since else []
        report = verify(
            bundle(),
            keys=keys,
            since=since,
            witnesses=[one.key for one in settings.LEDGER_WITNESSES],
            quorum=settings.LEDGER_WITNESSES_NEEDED or None,
            progress=_progress(claimed),
        )
        check_tree(report)
        return _end(claimed, action=CHECKED, state=RunState.DONE, **outcome_of(report))
    except TakenOverError:
        return False
    except SoftTimeLimitExceeded:
        return _stop(claimed, TOO_LONG)
    except Exception:
        if claimed.attempts >= ATTEMPTS:
            _stop(claimed, FAILED)
        raise


def _claim(pk: int) -> HistoryCheck | None:
    newest = newest_checkpoint()
    return CHECKS.claim(
        pk, checked=0, size=store.size(), newest=newest.note if newest else "",
        newest_at=newest.made_at if newest else None,
    )  # fmt: skip


def _progress(claimed: HistoryCheck) -> Callable[[int], None]:
    """Says how far it is about once a second. Raises TakenOverError."""
    due = time.monotonic() + EVERY

    def tell(lines: int) -> None:
        nonlocal due
        if time.monotonic() < due:
            return
        mine = CHECKS.mine(claimed.pk, claimed.runner)
        # Nearly every line is an entry; the few others make no difference to a bar.
        if not mine.update(checked=min(lines, claimed.size), seen_at=Now()):
            raise TakenOverError
        due = time.monotonic() + EVERY

    return tell


def _stop(claimed: HistoryCheck, why: str) -> bool:
    return _end(claimed, action=CHECK_STOPPED, state=RunState.STOPPED, verdict=why)


def _end(claimed: HistoryCheck, *, action: str, **fields: object) -> bool:
    return CHECKS.end(claimed.pk, claimed.runner, action=action, **fields)
