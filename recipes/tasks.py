"""What the workers do. Every task may run twice, or die at any line, without harm."""

from celery import Task, shared_task

from audit.capture.context import Channel, RequestContext, request_context
from audit.queueing import send_unless_waiting
from recipes.modelling import actions as fits
from recipes.modelling import pouring
from recipes.permits.actions import end_due_permits
from recipes.publishing import run


def _as_task(request_id: str) -> None:
    """History entries say that a task wrote them, and which."""
    request_context.set(RequestContext(channel=Channel.TASK, request_id=request_id))


@shared_task(bind=True)
def run_publication(self: Task[[int], int], publication_id: int) -> int:
    """Place everything of one publication that is due; returns how many slots."""
    _as_task(self.request.id or "")
    return run.run(publication_id)


@shared_task
def sweep() -> list[int]:
    """Start what is due: sites whose moment has come, and whatever a killed worker left."""
    waiting = [each for each in run.unfinished() if not run.under_way(each)]
    for publication_id in waiting:
        send_unless_waiting(run_publication.name, [publication_id])
    return waiting


@shared_task(bind=True)
def end_permits(self: Task[[], int]) -> int:
    """End deviation permits whose time is over; returns how many."""
    _as_task(self.request.id or "")
    return end_due_permits()


@shared_task(bind=True)
def run_fit(self: Task[[int], bool], fit_id: int) -> bool:
    """Fit the shot model to a station's shots; whether this run did."""
    _as_task(self.request.id or "")
    return fits.run_fit(fit_id)


@shared_task
def pour(digest: str) -> bool:
    """Run the shot model for a prediction that a page asked for; nothing of it is written down."""
    return pouring.pour(digest)


@shared_task
def sweep_fits() -> list[int]:
    """Start fits that a killed worker left; one that is under way takes no notice."""
    waiting = fits.left_lying()
    for fit_id in waiting:
        send_unless_waiting(run_fit.name, [fit_id])
    return waiting
