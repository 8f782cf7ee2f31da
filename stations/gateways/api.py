"""Endpoints for gateways: enrolment, keys, and what the slots of their site should hold."""

from django.utils.http import parse_etags
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from audit.endpoint import Endpoint
from stations.gateways.actions import enrol, give_key
from stations.gateways.authentication import (
    LARGEST,
    GatewayEndpoint,
    Often,
    Tries,
    body_of,
)
from stations.gateways.keys import key_of, read_jwk, thumbprint_of
from stations.gateways.serializers import (
    EnrolIn,
    EnrolledOut,
    KeyIn,
    KeyOut,
    SettingsServedOut,
    SinceIn,
)
from stations.gateways.serving import POLL, served, state_of
from stations.gateways.signatures import NEW_LABEL, Message, signed, spend
from web.api import asked, valid

LIMITS = {
    "events": 500,
    "bytes": LARGEST,
    "unpacked": 8_000_000,
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

    @extend_schema(
        responses={200: SettingsServedOut, 304: None},
        parameters=[OpenApiParameter("If-None-Match", str, OpenApiParameter.HEADER)],
    )
    def get(self, request: Request) -> Response:
        """Fetch it whole, or what changed since a cursor; 304 where nothing has."""
        site = self.caller.gateway.site
        now = state_of(site)
        tag = f'"{now.cursor}"'
        headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
        since = asked(SinceIn, request).get("since", "")
        if tag in parse_etags(request.headers.get("If-None-Match", "")):
            return Response(status=304, headers=headers)
        body = served(site, now, since)
        if any(each["problem"] for each in body["slots"]):
            headers["ETag"] = f'"{now.cursor}-withheld"'  # fits no later question
        return Response(SettingsServedOut(body).data, headers=headers)
