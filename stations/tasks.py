"""What workers do for the equipment by themselves."""

from celery import shared_task

from stations.charts.drifting import note_all_drifts


@shared_task
def note_drifts() -> int:
    """Every chart anew, for what a process that died between a shot and its chart left out."""
    return note_all_drifts()
