"""When sealing stops: said in the history and on pages, until somebody resolves it by command."""

import logging

from audit.capture.context import recorded
from audit.sealing.memory import mark_stopped, signing_alone
from audit.sealing.models import SealingEvent, SealingEventKind
from audit.vocabulary import register

STOPPED = register("ledger.stopped", "Stopped sealing the history")
log = logging.getLogger(__name__)


def stop(why: str) -> None:
    """Stop until it is resolved: kept beside the key, said in the history and on pages."""
    log.error("Sealing stopped. %s", why)
    with signing_alone(wait=True):
        mark_stopped(why)
    say_stopped(why)


def say_stopped(why: str) -> None:
    """Say it in the database, again if somebody took it out there."""
    if not stopped_now():
        with recorded(by=None, action=STOPPED, reason=why):
            SealingEvent.objects.create(kind=SealingEventKind.STOPPED, words=why)


def stopped_now() -> str:
    """What does not fit, as last said in the database; empty while all is well."""
    newest = SealingEvent.objects.order_by("-id").first()
    return newest.words if newest and newest.kind == SealingEventKind.STOPPED else ""
