"""What people were told is kept for half a year."""

from datetime import timedelta

from django.utils import timezone

from people.notices.models import Matter, Message

KEPT = timedelta(days=180)


def forget_told() -> None:
    """Delete what ended, and what was sent, longer ago. Repeating does no harm."""
    before = timezone.now() - KEPT
    Matter.objects.filter(ended_at__lt=before).delete()
    Message.objects.filter(done_at__lt=before, notices=None).delete()
