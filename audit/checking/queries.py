"""Which checks are under way, and by whom."""

from datetime import timedelta

from django.db.models import Q, QuerySet
from django.db.models.functions import Now

from audit.models import HistoryCheck

SILENT = timedelta(seconds=45)  # a worker says every second how far it is
ATTEMPTS = 3  # one that its worker did not survive so often is not tried again


def running() -> QuerySet[HistoryCheck]:
    """The one under way, if any."""
    return HistoryCheck.objects.filter(state=HistoryCheck.State.RUNNING)


def unattended() -> QuerySet[HistoryCheck]:
    """Asked for and not begun, or left by a worker that was killed."""
    return running().filter(Q(runner="") | Q(seen_at__lt=Now() - SILENT), attempts__lt=ATTEMPTS)


def silent() -> QuerySet[HistoryCheck]:
    """Nobody has been at it for a while: no worker is there, or the one that was has gone."""
    return running().filter(seen_at__lt=Now() - SILENT)


def newest_answer() -> HistoryCheck | None:
    """The last check that came to an answer."""
    return HistoryCheck.objects.filter(state=HistoryCheck.State.DONE).first()
