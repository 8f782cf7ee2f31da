"""What workers do for the equipment by themselves."""

from celery import shared_task

from stations.causes.sweeping import look_for_causes as look
from stations.charts.drifting import note_all_drifts


@shared_task
def note_drifts() -> int:
    """Every chart anew, for what a process that died between a shot and its chart left out."""
    return note_all_drifts()


@shared_task
def look_for_causes() -> int:
    """What gateways told of shots since the last time."""
    return look()
