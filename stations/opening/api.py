"""Endpoint: a site's opening check, how far it is, and what it asks."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.opening.actions import set_opening
from stations.opening.checking import SlotCheck, station_checks
from stations.opening.models import MOST_SHOTS, OpeningPolicy
from web.api import GuardedView, person, valid
from web.etags import expected_revision, matching, tagged
from web.lookup import one_or_404


@extend_schema_field({"type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9]$"})
class ClockTime(serializers.TimeField):
    """A time of a site's own clock, such as 07:00: RFC 3339's "time" would need a zone."""

    def __init__(self) -> None:
        """Hours and minutes only."""
        super().__init__(format="%H:%M", input_formats=["%H:%M"])


class SlotCheckOut(serializers.Serializer[SlotCheck]):
    """A slot in use: good shots of today of those wanted, and whether one was out of tolerance."""

    slot = serializers.IntegerField(source="slot_id")
    station = serializers.IntegerField(source="station_id")
    number = serializers.IntegerField()
    good = serializers.IntegerField()
    wanted = serializers.IntegerField()
    was_out = serializers.BooleanField()
    done = serializers.BooleanField()


class OpeningCheckOut(serializers.ModelSerializer[OpeningPolicy]):
    """What is asked (no shots: nothing), by the site's clock, and how far each slot is."""

    site = serializers.SlugRelatedField[Site](slug_field="code", read_only=True)
    counts_from = ClockTime()
    opens_at = ClockTime()
    checks = serializers.SerializerMethodField()

    class Meta:
        """What is shown."""

        model = OpeningPolicy
        fields = ["site", "shots", "counts_from", "opens_at", "slots", "checks", "revision"]

    @extend_schema_field(SlotCheckOut(many=True))
    def get_checks(self, policy: OpeningPolicy) -> list[dict[str, Any]]:
        """Slot by slot, now."""
        checks = station_checks([policy.site_id], timezone.now())
        return [dict(SlotCheckOut(slot).data) for check in checks for slot in check.slots]


class OpeningCheckIn(serializers.Serializer[dict[str, Any]]):
    """What to ask from now on; `slots` are numbers such as "1,3", empty for every slot in use."""

    shots = serializers.IntegerField(min_value=0, max_value=MOST_SHOTS)
    counts_from = ClockTime()
    opens_at = ClockTime()
    slots = serializers.CharField(max_length=120, required=False, allow_blank=True, default="")


class OpeningCheck(GuardedView):
    """A site's opening check."""

    verb = Verb.SLOT_VIEW
    acting_verb = Verb.OPENING_SET

    @extend_schema(responses=OpeningCheckOut)
    def get(self, request: Request, code: str) -> Response:
        """Read what is asked, and how far it is."""
        policy = OpeningPolicy.of(_site(request, code))
        return tagged(request, policy, OpeningCheckOut(policy).data)

    @extend_schema(request=OpeningCheckIn, responses=OpeningCheckOut)
    @matching
    def put(self, request: Request, code: str) -> Response:
        """Ask for something else."""
        site, body = _site(request, code), valid(OpeningCheckIn, request)
        seen = expected_revision(request, OpeningPolicy.of(site))
        policy = set_opening(by=person(request), site=site, revision=seen, **body)
        return tagged(request, policy, OpeningCheckOut(policy).data)


def _site(request: Request, code: str) -> Site:
    return one_or_404(Site.objects.covered_by(person(request)), code=code)
