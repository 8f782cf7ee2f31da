"""Endpoints for gateways: what every slot of a site should hold, and what was found there."""

import hashlib

from django.utils.http import parse_etags
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from people.models import Scope
from people.verbs import Verb
from people.web.api import GuardedView, person, valid
from people.web.idempotency import acting
from stations.actions import Reading, report_read_backs
from stations.api.asking import Rows, found
from stations.api.holding import GatewaySettings, ReportIn, ReportOut
from stations.holdings import holdings
from stations.models import Site, Slot


class SiteSettings(GuardedView):
    """What every slot of a site should hold."""

    verb = Verb.GATEWAY_FETCH
    scope = Scope.GATEWAY

    @extend_schema(responses={200: GatewaySettings, 304: None})
    def get(self, request: Request, code: str) -> Response:
        """Fetch it; with If-None-Match 304 as long as nothing has changed."""
        site = found(Site.objects.covered_by(person(request), self.verb), code=code)
        slots = Slot.objects.filter(station__machine__site=site)
        tag = _tag(slots)
        headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
        if tag in parse_etags(request.headers.get("If-None-Match", "")):
            return Response(status=304, headers=headers)
        shown = GatewaySettings({"site": site.code, "slots": holdings(slots)})
        return Response(shown.data, headers=headers)


class SiteReadBacks(GuardedView):
    """What a gateway found in the slots of its site."""

    verb = Verb.GATEWAY_REPORT
    scope = Scope.GATEWAY

    @extend_schema(request=ReportIn, responses={200: ReportOut})
    @acting
    def post(self, request: Request, code: str) -> Response:
        """Report many read-backs; each is answered by its own, in the order they were sent."""
        site = found(Site.objects.covered_by(person(request), self.verb), code=code)
        sent = valid(ReportIn, request)["read_backs"]
        reported = report_read_backs(
            site=site, readings=[Reading(**reading) for reading in sent], by=person(request)
        )
        return Response(ReportOut({"read_backs": reported}).data)


def _tag(slots: Rows) -> str:
    """A tag that changes whenever a slot of the site should hold something else.

    A placement's settings never change, so the ids of what is in force say it all.
    """
    held = slots.with_condition().order_by("pk").values_list("pk", "in_force")
    text = ";".join(f"{slot}:{placement or ''}" for slot, placement in held)
    return f'"{hashlib.sha256(text.encode()).hexdigest()[:32]}"'
