"""Answering a finding: what its cause was, and that the level it came to is the right one."""

from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Refused, Subject
from audit.revision import compare_and_set, lock, must_be_at
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.causes.following import TO_CLEAR, Following
from stations.causes.models import NOTE, CauseFinding, CauseRun, Evidence
from stations.causes.sweeping import CAUSE_CLEARED
from stations.causes.wording import Given
from web.checks import Checks

CAUSE_ACKNOWLEDGED = register("cause.acknowledged", "Acknowledged a cause of drift")


def acknowledge(
    *, by: User, finding: CauseFinding, seen_revision: int, given: str, note: str = ""
) -> CauseFinding:
    """Say what the cause was found to be; shots from now on may clear it.

    Raises Invalid (given, note), NotPermitted, Refused where somebody did, and Stale.
    """
    subject = _subject(finding)
    with recorded(
        by=by, action=CAUSE_ACKNOWLEDGED, reason=note, subject=subject, site_id=finding.site_id
    ):
        require(by, Verb.FINDING_ANSWER, finding.site_id, subject)
        newest = _locked(finding, seen_revision)
        if newest.state != "open":
            raise Refused("This was acknowledged already.", subject=subject)
        checks = Checks()
        cause = checks.choice("given", given, Given.values)
        said = checks.text("note", note, most=NOTE) if note.strip() or cause == "other" else ""
        checks.done()
        compare_and_set(
            newest, seen_revision, state="acknowledged", given=cause, note=said,
            acknowledged_by=by, acknowledged_at=timezone.now(),
        )  # fmt: skip
    return newest


def settle(*, by: User, finding: CauseFinding, seen_revision: int, note: str) -> CauseFinding:
    """Say that the new level is right: what follows is held against shots from now on.

    The evidence are the shots since it was acknowledged, 20 at least. Raises Invalid (note),
    NotPermitted, Refused where it was not acknowledged or shots are too few, and Stale.
    """
    subject = _subject(finding)
    with recorded(
        by=by, action=CAUSE_CLEARED, reason=note, subject=subject, site_id=finding.site_id
    ):
        require(by, Verb.FINDING_ANSWER, finding.site_id, subject)
        runs = CauseRun.objects.filter(station=finding.station_id, cause=finding.cause)
        run = runs.select_for_update().first()
        newest = _locked(finding, seen_revision)
        many = len(Following.of(run.kept).after) if run else 0
        if run is None or newest.state != "acknowledged" or many < TO_CLEAR:
            raise Refused(
                f"It takes {TO_CLEAR} shots since it was acknowledged, and there are {many}.",
                how_to_ask="Acknowledge it with its cause, and let shots be poured.",
                subject=subject,
            )
        checks = Checks()
        why = checks.text("note", note, most=NOTE)
        checks.done()
        now = timezone.now()
        run.begun_at, run.scored, run.kept = now, 0, {}
        run.save(update_fields=["begun_at", "scored", "kept"])
        compare_and_set(
            newest, seen_revision, state="cleared", evidence=Evidence.LEVEL.value,
            evidence_words=why, cleared_by=by, cleared_at=now,
        )  # fmt: skip
    return newest


def _subject(finding: CauseFinding) -> Subject:
    return Subject("station", finding.station_id, finding.where)


def _locked(finding: CauseFinding, seen_revision: int) -> CauseFinding:
    lock(CauseFinding, finding.pk)
    newest = CauseFinding.objects.with_place().get(pk=finding.pk)
    must_be_at(newest, seen_revision)
    return newest
