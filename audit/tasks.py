"""What the workers do for the history. Every task may run twice, or die at any line."""

from celery import Task, shared_task

from audit.context import Ambient, Road, ambient
from audit.sealing.mail import mail_newest
from audit.sealing.seal import seal as seal_waiting


@shared_task(bind=True, soft_time_limit=300)
def seal(self: Task[[], int]) -> int:
    """Seal what was committed since the last time; returns how many entries."""
    ambient.set(Ambient(road=Road.TASK, request_id=self.request.id or ""))
    return seal_waiting()


@shared_task(bind=True)
def seal_beneath(self: Task[[], int]) -> int:
    """Look through the whole history for entries that were never sealed; see audit.sealing."""
    ambient.set(Ambient(road=Road.TASK, request_id=self.request.id or ""))
    return seal_waiting(beneath=True)


@shared_task
def mail_checkpoint() -> int:
    """Send the newest checkpoint to those outside who keep it; returns to how many."""
    return mail_newest()
