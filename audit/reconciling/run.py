"""Running a reconciliation: by one worker at a time, anew if that one is killed."""

from audit.reconciling.actions import RECONCILIATIONS
from audit.reconciling.models import Reconciliation
from audit.reconciling.notices import forget
from audit.reconciling.reconcile import reconcile
from audit.reconciling.report import Report


def run_reconciliation(pk: int) -> bool:
    """Run it, unless it has ended or another worker is at it; whether this call ended it."""
    ended = RECONCILIATIONS.run(pk, _compared)
    forget()
    return ended


def _compared(claimed: Reconciliation) -> dict[str, object]:
    return outcome_of(reconcile(alive=lambda: RECONCILIATIONS.alive(claimed)))


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
