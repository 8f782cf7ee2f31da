"""Running a reconciliation: by one worker at a time, anew if that one is killed."""

import secrets

from celery.exceptions import SoftTimeLimitExceeded
from django.db.models import F
from django.db.models.functions import Now

from audit.capture.context import recorded
from audit.checking.models import CheckState
from audit.reconciling.actions import (
    ATTEMPTS,
    RECONCILED,
    RECONCILIATION_STOPPED,
    running,
    unattended,
)
from audit.reconciling.models import Reconciliation
from audit.reconciling.notices import forget
from audit.reconciling.reconcile import reconcile
from audit.reconciling.report import Report

TOO_LONG = "It took longer than a worker is given."
FAILED = "The program failed."


def run_reconciliation(pk: int) -> bool:
    """Run it, unless it has ended or another worker is at it; whether this call ended it."""
    runner = secrets.token_hex(8)
    taken = unattended().filter(pk=pk)
    if not taken.update(runner=runner, attempts=F("attempts") + 1, seen_at=Now()):
        return False
    claimed = Reconciliation.objects.get(pk=pk)
    try:
        report = reconcile(alive=lambda: _say_alive(claimed))
    except SoftTimeLimitExceeded:
        return _end(claimed, RECONCILIATION_STOPPED, state=CheckState.STOPPED, verdict=TOO_LONG)
    except Exception:
        if claimed.attempts >= ATTEMPTS:
            _end(claimed, RECONCILIATION_STOPPED, state=CheckState.STOPPED, verdict=FAILED)
        raise
    return _end(claimed, RECONCILED, state=CheckState.DONE, **outcome_of(report))


def outcome_of(report: Report) -> dict[str, object]:
    """The report as fields of a Reconciliation."""
    return {
        "agrees": report.agrees,
        "verdict": report.verdict,
        "tables": report.tables,
        "rows": report.rows,
        "entries": report.entries,
        "signatures": report.signatures,
        "through": report.through,
        "counts": report.counts,
        "findings": [one.stored() for one in report.differences],
    }


def _say_alive(claimed: Reconciliation) -> None:
    running().filter(pk=claimed.pk, runner=claimed.runner).update(seen_at=Now())


def _end(claimed: Reconciliation, action: str, **fields: object) -> bool:
    with recorded(by=None, action=action):
        mine = running().filter(pk=claimed.pk, runner=claimed.runner)
        ended = bool(mine.update(finished_at=Now(), **fields))
    forget()
    return ended
