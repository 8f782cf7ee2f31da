"""Asking for a check. A worker takes it up within seconds: audit.tasks.take_up_checks."""

from django.db import IntegrityError, transaction
from django.db.models.functions import Now

from audit.access import require_every_site
from audit.checking.history import CHECK_ASKED, CHECK_STOPPED
from audit.checking.note import key_in, note_in
from audit.checking.queries import running, silent
from audit.context import Actor, recorded
from audit.errors import Refused
from audit.models import HistoryCheck
from audit.subject import Subject


def start_check(*, by: Actor, since: str = "", key: str = "") -> HistoryCheck:
    """Ask for a check, against a checkpoint kept outside and with a key written down, if given.

    One nobody is at any more is stopped first. Raises NotPermitted, Invalid (since, key), and
    Refused while another is under way.
    """
    with recorded(by=by, action=CHECK_ASKED):
        require_every_site(by)
        note, public = note_in(since), key_in(key)
        _stop_silent()
        try:
            with transaction.atomic():
                made = HistoryCheck.objects.create(
                    asked_by_id=by.pk, asked_by=by.name, since=note, key=public
                )
        except IntegrityError:
            raise _under_way() from None
    made.refresh_from_db()
    return made


def _stop_silent() -> None:
    reason = "No worker was at it any more."
    with recorded(by=None, action=CHECK_STOPPED, reason=reason):
        silent().update(state=HistoryCheck.State.STOPPED, finished_at=Now(), verdict=reason)


def _under_way() -> Refused:
    other = running().first()
    who = f", asked for by {other.asked_by}" if other else ""
    about = Subject("history_check", other.pk, str(other)) if other else None
    return Refused(
        f"A check is under way already{who}: its answer is yours as well.",
        who_may="Any owner of all sites, once it has ended",
        how_to_ask="Wait for its answer, then ask for another check if you need one.",
        subject=about,
    )
