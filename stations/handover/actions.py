"""Leaving a note to the next shift, and saying how far one has read."""

from audit.capture.context import recorded
from audit.errors import Invalid, NotPermitted, Problem, Subject
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.handover.models import MOST_TEXT, HandoverNote, HandoverRead
from web.checks import Checks, taken

NOTE_LEFT = register("handover.left", "Left hand-over note")
NOTES_READ = register("handover.read", "Read hand-over notes")

OWN = "a note of your own at this site that no other takes the place of"


def leave_note(*, by: User, site: Site, text: str, edits: int | None = None) -> HandoverNote:
    """Leave a note at a site; with ``edits`` it takes the place of that one, which stays on record.

    Raises Invalid and NotPermitted.
    """
    subject = Subject("site", site.pk, site.name)
    with recorded(by=by, action=NOTE_LEFT, subject=subject, site_id=site.pk):
        require(by, Verb.HANDOVER_WRITE, site.pk, subject)
        checks = Checks()
        kept = checks.text("text", text, most=MOST_TEXT, lines=True)
        checks.done()
        # One after another, so that no note appears below one that somebody has read until.
        Site.objects.select_for_update(no_key=True).get(pk=site.pk)
        _own(by, site, edits)
        with taken(stations_handovernote_edits_id_key=Problem("edits", edits, OWN)):
            return HandoverNote.objects.create(site=site, by=by, text=kept, edits_id=edits)


def read_until(*, by: User, site: Site, until: int) -> HandoverRead:
    """Say that one has read this site's notes until that one; saying it again changes nothing.

    Raises Invalid and NotPermitted.
    """
    subject = Subject("site", site.pk, site.name)
    with recorded(by=by, action=NOTES_READ, subject=subject, site_id=site.pk):
        require(by, Verb.HANDOVER_WRITE, site.pk, subject)
        if not HandoverNote.objects.filter(site=site, pk=until).exists():
            raise Invalid("until", until, "a note of this site")
        return HandoverRead.objects.get_or_create(site=site, by=by, until_id=until)[0]


def _own(by: User, site: Site, edits: int | None) -> None:
    if edits is None:
        return
    before = HandoverNote.objects.select_related("by").filter(site=site, pk=edits).first()
    if before is None:
        raise Invalid("edits", edits, OWN)
    if before.by_id != by.pk:
        raise NotPermitted(
            "Only the person who left a note puts another in its place.",
            who_may=before.by.name,
            how_to_ask="Leave a note of your own.",
        )
