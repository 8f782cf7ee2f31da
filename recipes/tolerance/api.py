"""Endpoint: the bars that pour out of tolerance now."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.shots.models import CheckShot
from web.api import Listing, person
from web.paging import KeysetPagination


class OutsideShot(serializers.Serializer[Any]):
    """The last shot of a slot, out of tolerance; `verdicts` says which of its values."""

    shot = serializers.IntegerField(source="pk")
    at = serializers.DateTimeField()
    site = serializers.CharField(source="site.code")
    station = serializers.IntegerField(source="slot.station_id")
    slot = serializers.IntegerField(source="slot_id")
    verdicts = serializers.DictField(child=serializers.CharField())


class OutsideNow(Listing):
    """Slots whose last check shot of the day was out of tolerance."""

    verb = Verb.SLOT_VIEW

    @extend_schema(responses=OutsideShot(many=True))
    def get(self, request: Request) -> Response:
        """List their last shots, newest first."""
        shots = CheckShot.objects.covered_by(person(request)).outside_now()
        pages = KeysetPagination()
        rows = shots.select_related("site", "slot")
        page: list[CheckShot] = pages.paginate_queryset(rows, request, self) or []
        return pages.answered(OutsideShot, page)
