"""Endpoint: all sites at a glance."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.board.rows import board_counts, board_rows
from stations.equipment.models import Site
from web.api import Listing, person


class BoardRow(serializers.Serializer[Any]):
    """How many slots of a site match, differ, wait, are on permit or set by hand.

    `outside` counts slots whose last shot of the day was out of tolerance, `drifts` stations whose
    newest check shots signal against a frozen baseline; `departs`
    slots that should hold something other than the menu says that the site follows.
    """

    site = serializers.CharField()
    name = serializers.CharField()
    differs = serializers.IntegerField()
    outside = serializers.IntegerField()
    drifts = serializers.IntegerField()
    to_load = serializers.IntegerField()
    on_permit = serializers.IntegerField()
    by_hand = serializers.IntegerField()
    departs = serializers.IntegerField()
    silent = serializers.IntegerField(help_text="gateways and stations that are not heard of")
    matches = serializers.IntegerField()
    slots = serializers.IntegerField()


class Board(Listing):
    """All sites at a glance."""

    verb = Verb.SLOT_VIEW

    @extend_schema(responses=BoardRow(many=True))
    def get(self, request: Request) -> Response:
        """Per site, how many slots match, differ, wait to be loaded, are on permit or by hand."""
        return self.listed_board(board_counts(person(request)))

    def listed_board(self, counts: dict[int, dict[str, int]]) -> Response:
        """One page of it."""
        pages = self.pagination_class()
        sites = Site.objects.covered_by(person(self.request), Verb.SLOT_VIEW)
        shown = pages.paginate_queryset(sites, self.request, self) or []
        rows: list[dict[str, Any]] = [
            {**row, "site": row["site"].code, "name": row["site"].name}
            for row in board_rows(shown, counts)
        ]
        return pages.answered(BoardRow, rows)
