"""Endpoints for gateways: enrolment, keys, what slots should hold, and what is reported of them."""

import json
from dataclasses import fields

from django.utils import timezone
from django.utils.http import parse_etags
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from audit.endpoint import Endpoint
from audit.errors import NotFound
from stations.gateways.actions import enrol, give_key
from stations.gateways.authentication import (
    LARGEST,
    GatewayEndpoint,
    Often,
    Tries,
    body_of,
)
from stations.gateways.batches import EVENTS, UNPACKED, BatchParser, events_of
from stations.gateways.ingest import FLAGGED_FROM, take
from stations.gateways.keys import key_of, read_jwk, thumbprint_of
from stations.gateways.schemas import texts
from stations.gateways.serializers import (
    EnrolIn,
    EnrolledOut,
    EventIn,
    KeyIn,
    KeyOut,
    OutcomeOut,
    SettingsServedOut,
    SinceIn,
)
from stations.gateways.serving import POLL, served, state_of
from stations.gateways.signatures import NEW_LABEL, Message, signed, spend
from web.api import asked, valid

LIMITS = {
    "events": EVENTS,
    "bytes": LARGEST,
    "unpacked": UNPACKED,
    "requests": Often.rate,
    "next_poll": POLL,
}


class Enrolment(Endpoint):
    """Becoming the gateway of a code."""

    authentication_classes = []
    permission_classes = [AllowAny]
    throttle_classes = [Tries]

    @extend_schema(request=EnrolIn, responses={201: EnrolledOut}, auth=[])
    def post(self, request: Request) -> Response:
        """Enrol, once, with the code of a person and a key of one's own, which signs this request.

        At most 10 a minute from one address.
        """
        sent = body_of(request)
        body = valid(EnrolIn, request)
        public = read_jwk(body["public_key"])
        keyid = thumbprint_of(public)
        key = key_of(public)
        told = signed(
            Message.of(request._request), sent, lambda named: key if named == keyid else None
        )
        spend(told)
        caller = enrol(
            code=body["code"], public=public, host=body["name"], version=body["version"],
            driver=body["driver"],
        )  # fmt: skip
        gateway = caller.gateway
        answer = {"gateway": gateway.pk, "keyid": keyid, "source": gateway.urn,
                  "site": gateway.site.code, "limits": LIMITS}  # fmt: skip
        return Response(EnrolledOut(answer).data, status=201)


class NewKey(GatewayEndpoint):
    """The key of a gateway."""

    @extend_schema(request=KeyIn, responses=KeyOut)
    def post(self, request: Request) -> Response:
        """Give the key that takes the place of the one in use; both sign this request.

        The one in use is good until the new one signs a request. Repeating is fine.
        """
        public = read_jwk(valid(KeyIn, request)["public_key"])
        keyid, key = thumbprint_of(public), key_of(public)
        signed(
            Message.of(request._request), body_of(request),
            lambda named: key if named == keyid else None, NEW_LABEL,
        )  # fmt: skip
        give_key(by=self.caller, public=public, seen_key=self.told.keyid)
        return Response(KeyOut({"keyid": keyid}).data)


class Settings(GatewayEndpoint):
    """What the slots of the gateway's site should hold."""

    query = SinceIn

    @extend_schema(responses={200: SettingsServedOut, 304: None})
    def get(self, request: Request) -> Response:
        """Fetch it whole, or what changed since a cursor; with If-None-Match 304 if nothing has."""
        site = self.caller.gateway.site
        now = state_of(site)
        tag = f'"{now.cursor}"'
        headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
        since = asked(SinceIn, request).get("since", "")
        if tag in parse_etags(request.headers.get("If-None-Match", "")):
            return Response(status=304, headers=headers)
        body = served(site, now, since)
        headers["ETag"] = f'"{body["cursor"]}"'  # of something withheld it fits no later question
        return Response(SettingsServedOut(body).data, headers=headers)


HALF = 0.5  # s; `created` is told in whole seconds, so that on average it is that much early


class Events(GatewayEndpoint):
    """What a gateway reports."""

    parser_classes = [BatchParser]

    @extend_schema(request=EventIn(many=True), responses=OutcomeOut)
    def post(self, request: Request) -> Response:
        """Report a batch of at most 500 events, 1 MB as sent and 8 MB unpacked; gzip is taken.

        Each is taken once, by its id and its sequence, in whatever order they come.
        """
        offset = self.told.created.timestamp() + HALF - timezone.now().timestamp()
        events = events_of(request.data, self.caller.gateway.urn)
        outcome = take(by=self.caller, events=events, offset=round(offset, 1))
        answer = {
            **{each.name: getattr(outcome, each.name) for each in fields(outcome)},
            "offset": round(offset, 1),
            "clock_is_wrong": abs(offset) > FLAGGED_FROM,
            "next_poll": POLL,
        }
        return Response(OutcomeOut(answer).data)


class Schema(Endpoint):
    """The schemas of events, for whoever writes a gateway."""

    authentication_classes = []
    permission_classes = [AllowAny]

    @extend_schema(responses={(200, "application/schema+json"): OpenApiTypes.OBJECT}, auth=[])
    def get(self, request: Request, name: str) -> Response:
        """Read the JSON Schema (2020-12) of an event's data, or of the envelope."""
        known = texts().get(name)
        if known is None:
            raise NotFound("There is no schema of that name.")
        return Response(json.loads(known), content_type="application/schema+json")
