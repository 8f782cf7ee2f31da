"""What the workers do for the history. Every task may run twice, or die at any line."""

import logging

from celery import Task, shared_task

from audit.alarms import alarms
from audit.capture.context import Channel, RequestContext, request_context
from audit.capture.partitions import roll
from audit.checking.actions import CHECKS
from audit.checking.run import run_check as run
from audit.queueing import send_unless_waiting
from audit.reconciling.actions import RECONCILIATIONS
from audit.reconciling.run import run_reconciliation as compare
from audit.sealing.lateness import mail_newest
from audit.sealing.seal import seal as seal_waiting
from audit.witnessing.offering import offer_newest

logger = logging.getLogger(__name__)


@shared_task(bind=True, soft_time_limit=300)
def seal(self: Task[[], int]) -> int:
    """Seal what was committed since the last time; returns how many entries."""
    request_context.set(RequestContext(channel=Channel.TASK, request_id=self.request.id or ""))
    return seal_waiting()


@shared_task(bind=True)
def seal_beneath(self: Task[[], int]) -> int:
    """Look through the whole history for entries that were never sealed; see audit.sealing."""
    request_context.set(RequestContext(channel=Channel.TASK, request_id=self.request.id or ""))
    return seal_waiting(beneath=True)


@shared_task(bind=True, soft_time_limit=60, time_limit=90)
def offer_checkpoint(self: Task[[], int]) -> int:
    """Offer the newest checkpoint to the witnesses; returns how many cosigned it."""
    request_context.set(RequestContext(channel=Channel.TASK, request_id=self.request.id or ""))
    return offer_newest()


@shared_task
def roll_month() -> str | None:
    """In a new month, a partition for its history; see audit.retention. Returns its name."""
    return roll()


@shared_task
def look_at_guards() -> int:
    """Write every alarm of the history to the log; returns how many.

    Owners read the same at home and from /healthz.
    """
    found = alarms()
    for alarm in found:
        logger.error("%s", alarm.words)
    return len(found)


@shared_task
def mail_checkpoint() -> int:
    """Send the newest checkpoint to those outside who keep it; returns to how many."""
    return mail_newest()


# Hours: it reads the whole history, and a worker that outlives the broker's patience is not
# interrupted by a second one: see audit.checking.run.
@shared_task(bind=True, soft_time_limit=4 * 3600, time_limit=4 * 3600 + 60)
def run_check(self: Task[[int], bool], check_id: int) -> bool:
    """Run one check of the history; whether it ended here."""
    request_context.set(RequestContext(channel=Channel.TASK, request_id=self.request.id or ""))
    return run(check_id)


@shared_task(bind=True, soft_time_limit=4 * 3600, time_limit=4 * 3600 + 60)
def run_reconciliation(self: Task[[int], bool], pk: int) -> bool:
    """Run one reconciliation; whether it ended here."""
    request_context.set(RequestContext(channel=Channel.TASK, request_id=self.request.id or ""))
    return compare(pk)


@shared_task(bind=True)
def reconcile_tonight(self: Task[[], int]) -> int:
    """Begin the nightly reconciliation, to be taken up like any other; its id, or 0."""
    request_context.set(RequestContext(channel=Channel.TASK, request_id=self.request.id or ""))
    made = RECONCILIATIONS.begin(by=None)
    return made.pk if made else 0


@shared_task
def take_up_checks() -> list[int]:
    """Start what was asked for, and whatever a killed worker left."""
    waiting = list(CHECKS.unattended().values_list("pk", flat=True))
    for check_id in waiting:
        send_unless_waiting(run_check.name, [check_id])
    for pk in RECONCILIATIONS.unattended().values_list("pk", flat=True):
        send_unless_waiting(run_reconciliation.name, [pk])
    return waiting
