"""Notes left at a site, and how far each person has read them."""

from datetime import timedelta
from typing import Any, Self

import pgtrigger
from django.conf import settings as project
from django.db import models
from django.db.models import OuterRef, Q, Subquery
from django.db.models.functions import Coalesce, Now
from django.urls import reverse

from audit.capture.triggers import FirmTrigger, insert_only, refusal
from people.persons.models import User
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from stations.equipment.models import Site, governed_at_site

MOST_TEXT = 1000  # characters
LATELY = timedelta(days=14)  # older notes are on the page of notes, for who looks for them


class HandoverNoteQuerySet(SiteScoped["HandoverNote"]):
    """Questions about hand-over notes."""

    view_verb = Verb.HANDOVER_WRITE

    def standing(self) -> Self:
        """Those that no further note takes the place of."""
        return self.filter(edited_by=None)

    def unread_by(self, user: User) -> Self:
        """Of late, by others, and not read back by this person; the oldest first."""
        read = HandoverRead.objects.filter(site=OuterRef("site"), by=user).order_by("-until")
        last = Coalesce(Subquery(read.values("until")[:1]), 0)
        rows = self.standing().exclude(by=user).filter(at__gte=Now() - LATELY, pk__gt=last)
        return rows.select_related("by", "edits").order_by("pk")


AS_WRITTEN = FirmTrigger(
    name="a_guard_edits_own",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func=f"""
    IF NEW.edits_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM stations_handovernote n
        WHERE n.id = NEW.edits_id AND n.site_id = NEW.site_id AND n.by_id = NEW.by_id)
    THEN {refusal("A note in % takes the place of an own one of the same site.")} END IF;
    RETURN NEW;
    """,  # noqa: S608 - constants of this module
)
READ_THERE = FirmTrigger(
    name="a_guard_read_there",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func=f"""
    IF NOT EXISTS (SELECT 1 FROM stations_handovernote n
        WHERE n.id = NEW.until_id AND n.site_id = NEW.site_id)
    THEN {refusal("What is read in % is a note of that site.")} END IF;
    RETURN NEW;
    """,  # noqa: S608 - constants of this module
)


class HandoverNote(models.Model):
    """What a shift leaves to the next. Never changed: a further note takes its place."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="handover_notes", db_index=False)
    by = models.ForeignKey(project.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(db_default=Now())
    text = models.CharField(max_length=MOST_TEXT)
    edits = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="edited_by"
    )

    objects = HandoverNoteQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                name="handover_note_says_something", condition=~Q(text__regex=r"^\s*$")
            ),
        ]
        indexes = [models.Index(fields=["site", "at"], name="handover_of_a_site")]
        triggers: Any = [AS_WRITTEN, *insert_only("handover_note"), *governed_at_site("site_id")]

    def __str__(self) -> str:
        return f"note {self.pk}"

    def get_absolute_url(self) -> str:
        """The notes of its site."""
        return reverse("stations:handover", args=[self.site_id])


class HandoverRead(models.Model):
    """A person read a site's notes until this one. Never changed."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="+", db_index=False)
    by = models.ForeignKey(project.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    until = models.ForeignKey(HandoverNote, models.PROTECT, related_name="reads")
    at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["site", "by", "until"], name="handover_read_once"),
        ]
        triggers: Any = [READ_THERE, *insert_only("handover_read"), *governed_at_site("site_id")]

    def __str__(self) -> str:
        return f"{self.by} until {self.until}"
