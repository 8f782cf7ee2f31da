"""Endpoints: bars, and all of them at a glance."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from people.verbs import Verb
from people.web.api import person, valid
from people.web.etags import expected_revision, matching, tagged
from people.web.idempotency import acting
from stations.actions import add_site, change_site
from stations.api.asking import Listing, found
from stations.api.equipment import SiteChange, SiteIn, SiteOut
from stations.api.holding import BoardRow
from stations.board import board_counts, board_rows
from stations.models import Site


class Sites(Listing):
    """The bars one's roles cover."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT
    acting_everywhere = True

    @extend_schema(responses=SiteOut(many=True))
    def get(self, request: Request) -> Response:
        """List sites, newest first."""
        return self.listed(Site.objects.covered_by(person(request)), SiteOut)

    @extend_schema(request=SiteIn, responses={201: SiteOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a site."""
        made = add_site(**valid(SiteIn, request), by=person(request))
        return tagged(request, made, SiteOut(made).data, 201)


class OneSite(Listing):
    """One bar, by its code."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT

    @extend_schema(responses=SiteOut)
    def get(self, request: Request, code: str) -> Response:
        """Read a site."""
        site = found(Site.objects.covered_by(person(request)), code=code)
        return tagged(request, site, SiteOut(site).data)

    @extend_schema(request=SiteChange, responses=SiteOut)
    @matching
    def put(self, request: Request, code: str) -> Response:
        """Change a site's name, time zone and altitude."""
        site = found(Site.objects.covered_by(person(request)), code=code)
        body = valid(SiteChange, request)
        seen = expected_revision(request, site)
        change_site(site=site, seen_revision=seen, **body, by=person(request))
        return tagged(request, site, SiteOut(site).data)


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
        return pages.get_paginated_response(BoardRow(rows, many=True).data)
