"""Running a reconciliation: by one worker at a time, anew if that one is killed."""

from celery.exceptions import SoftTimeLimitExceeded
from django.db.models.functions import Now

from audit.reconciling.actions import RECONCILED, RECONCILIATION_STOPPED, RECONCILIATIONS
from audit.reconciling.models import Reconciliation
from audit.reconciling.notices import forget
from audit.reconciling.reconcile import reconcile
from audit.reconciling.report import Report
from audit.runs import ATTEMPTS, RunState

TOO_LONG = "It took longer than a worker is given."
FAILED = "The program failed."


def run_reconciliation(pk: int) -> bool:
    """Run it, unless it has ended or another worker is at it; whether this call ended it."""
    claimed = RECONCILIATIONS.claim(pk)
    if claimed is None:
        return False
    try:
        report = reconcile(alive=lambda: _say_alive(claimed))
    except SoftTimeLimitExceeded:
        return _end(claimed, RECONCILIATION_STOPPED, state=RunState.STOPPED, verdict=TOO_LONG)
    except Exception:
        if claimed.attempts >= ATTEMPTS:
            _end(claimed, RECONCILIATION_STOPPED, state=RunState.STOPPED, verdict=FAILED)
        raise
    return _end(claimed, RECONCILED, state=RunState.DONE, **outcome_of(report))


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
    RECONCILIATIONS.mine(claimed.pk, claimed.runner).update(seen_at=Now())


def _end(claimed: Reconciliation, action: str, **fields: object) -> bool:
    ended = RECONCILIATIONS.end(claimed.pk, claimed.runner, action=action, **fields)
    forget()
    return ended
