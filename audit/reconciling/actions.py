"""Asking for a reconciliation. A worker takes it up within seconds: audit.tasks.take_up_checks."""

from collections.abc import Iterator
from datetime import timedelta

from django.urls import reverse
from django.utils import timezone

from audit.alarms import Alarm, register_alarm
from audit.capture.context import Actor, recorded
from audit.reading.access import require_every_site
from audit.reconciling.models import Reconciliation
from audit.runs import Runs
from audit.vocabulary import register

RECONCILIATION_ASKED = register("history.reconciliation_asked", "Asked for a reconciliation")
RECONCILED = register("history.reconciled", "Compared the tables with the history")
RECONCILIATION_STOPPED = register("history.reconciliation_stopped", "Stopped a reconciliation")

SILENT = timedelta(minutes=5)  # a worker says between two parts that it is still at it
TOO_OLD = timedelta(days=3)  # of a nightly one: after this, none has come to an end for long
RECONCILIATIONS = Runs(
    Reconciliation,
    "reconciliation",
    "reconciliation",
    SILENT,
    RECONCILIATION_ASKED,
    RECONCILED,
    RECONCILIATION_STOPPED,
)


@register_alarm
def found_by_reconciliation() -> Iterator[Alarm]:
    """The tables are not what the history says, until a newer one finds that they are."""
    newest = RECONCILIATIONS.newest_answer()
    if newest is None:
        return
    url = reverse("audit:reconciliation", args=[newest.pk])
    if not newest.agrees:
        yield Alarm(newest.verdict, url, since=newest.finished_at)
    if newest.finished_at and newest.finished_at < timezone.now() - TOO_OLD:
        words = "The tables have not been compared with the history for days."
        yield Alarm(words, url, "overdue", since=newest.finished_at)


def ask(*, by: Actor) -> Reconciliation:
    """Ask for one now. Raises NotPermitted, and Refused while another is under way."""
    with recorded(by=by, action=RECONCILIATION_ASKED):
        require_every_site(by)
        made = RECONCILIATIONS.begin(by=by)
        if made is None:
            raise RECONCILIATIONS.under_way()
    made.refresh_from_db()
    return made
