"""Endpoints: a site's hand-over notes, leaving one, saying how far one has read."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.handover.actions import leave_note, read_until
from stations.handover.models import MOST_TEXT, HandoverNote, HandoverRead
from web.api import GuardedView, Listing, listed, person, valid
from web.fields import ID
from web.idempotency import acting
from web.lookup import one_or_404


class NoteOut(serializers.ModelSerializer[HandoverNote]):
    """A note; `edits` is the id of the one whose place it takes."""

    by = serializers.CharField(source="by.name")
    edits = serializers.IntegerField(source="edits_id", allow_null=True)

    class Meta:
        """What is shown."""

        model = HandoverNote
        fields = ["id", "text", "by", "at", "edits"]


class NoteIn(serializers.Serializer[dict[str, Any]]):
    """What to leave."""

    text = serializers.CharField(max_length=MOST_TEXT)
    edits = serializers.IntegerField(allow_null=True, required=False, default=None, **ID)


class NotesReadIn(serializers.Serializer[dict[str, Any]]):
    """The id of the last note that was read."""

    until = serializers.IntegerField(**ID)


class NotesReadOut(serializers.ModelSerializer[HandoverRead]):
    """How far somebody has read, and since when."""

    until = serializers.IntegerField(source="until_id")

    class Meta:
        """What is shown."""

        model = HandoverRead
        fields = ["until", "at"]


class Notes(Listing):
    """The notes of a site."""

    verb = Verb.HANDOVER_WRITE

    @extend_schema(responses=NoteOut(many=True))
    def get(self, request: Request, code: str) -> Response:
        """List notes, newest first."""
        rows = HandoverNote.objects.filter(site=_site(request, code)).select_related("by")
        return listed(self, rows, NoteOut)

    @extend_schema(request=NoteIn, responses={201: NoteOut})
    @acting
    def post(self, request: Request, code: str) -> Response:
        """Leave a note."""
        site, body = _site(request, code), valid(NoteIn, request)
        note = leave_note(by=person(request), site=site, **body)
        note.refresh_from_db(fields=["at"])
        return Response(NoteOut(note).data, status=201)


class NotesRead(GuardedView):
    """How far one has read."""

    verb = Verb.HANDOVER_WRITE

    @extend_schema(request=NotesReadIn, responses=NotesReadOut)
    @acting
    def post(self, request: Request, code: str) -> Response:
        """Say that one has read until that note."""
        site, body = _site(request, code), valid(NotesReadIn, request)
        read = read_until(by=person(request), site=site, until=body["until"])
        read.refresh_from_db(fields=["at"])
        return Response(NotesReadOut(read).data)


def _site(request: Request, code: str) -> Site:
    return one_or_404(Site.objects.covered_by(person(request)), code=code)
