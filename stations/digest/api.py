"""The endpoint of a site's week."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.digest.changes import digest_of
from stations.digest.weeks import Week
from stations.equipment.models import Site
from web.api import GuardedView, asked, person
from web.lookup import one_or_404


class WeekAsked(serializers.Serializer[dict[str, Any]]):
    """Which week."""

    week = serializers.CharField(
        required=False,
        max_length=8,
        help_text="by ISO 8601, such as 2026-W48; else the running one",
    )


class DigestLineOut(serializers.Serializer[Any]):
    """One thing that changed."""

    at = serializers.DateTimeField()
    words = serializers.CharField()


class DigestSectionOut(serializers.Serializer[Any]):
    """Things of one kind, by their moments; `more`: there are others, which are not listed."""

    code = serializers.CharField()
    title = serializers.CharField()
    lines = DigestLineOut(many=True)
    more = serializers.BooleanField()


class DigestOut(serializers.Serializer[Any]):
    """A week at a site, by its own clock: from `begin` until `end`."""

    week = serializers.CharField()
    begin = serializers.DateTimeField(source="week.begin")
    end = serializers.DateTimeField(source="week.end")
    shots = serializers.IntegerField()
    outside = serializers.IntegerField(help_text="of these, out of tolerance")
    sections = DigestSectionOut(many=True)


class SiteWeek(GuardedView):
    """What changed at a site."""

    verb = Verb.SLOT_VIEW
    query = WeekAsked

    @extend_schema(parameters=[WeekAsked], responses=DigestOut)
    def get(self, request: Request, code: str) -> Response:
        """Within one week."""
        site = one_or_404(Site.objects.covered_by(person(request)), code=code)
        named = asked(WeekAsked, request).get("week")
        zone = site.time_zone
        week = Week.read(named, zone) if named else Week.at(timezone.now(), zone)
        return Response(DigestOut(digest_of(site, week)).data)
