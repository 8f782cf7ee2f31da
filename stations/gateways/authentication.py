"""Endpoints for gateways: asked by signed requests alone, never by a person or a token."""

from datetime import timedelta
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.db.models.functions import Now
from django.utils import timezone
from django.utils.http import http_date
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from rest_framework import exceptions
from rest_framework.authentication import BaseAuthentication
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import SimpleRateThrottle
from rest_framework.views import APIView

from audit.endpoint import Endpoint
from audit.quick import quick
from stations.gateways.actions import take_over_key
from stations.gateways.caller import Caller, name_gateway
from stations.gateways.keys import key_of
from stations.gateways.models import GatewayKey, GatewayStatus
from stations.gateways.signatures import KeyRevoked, Message, Signed, signed, spend
from web.middleware import client_address

LARGEST = 1_000_000  # bytes of a body as sent
SEEN_EVERY = timedelta(seconds=20)
SIGNED_WITH = "gateway_signed"  # on the request


class TooLarge(exceptions.APIException):
    """More than is taken at once (413)."""

    status_code = 413
    default_detail = f"A body is at most {LARGEST:,} bytes as sent."


def body_of(request: Request) -> bytes:
    """The body as it was sent. Raises TooLarge before any of it is read."""
    sent = request._request
    if int(sent.META.get("CONTENT_LENGTH") or 0) > LARGEST:
        raise TooLarge
    return sent.body


class SignedRequest(BaseAuthentication):
    """RFC 9421: found by the thumbprint of its key, believed for its signature."""

    def authenticate(self, request: Request) -> tuple[AnonymousUser, Caller]:
        """Nobody, and the gateway. Raises NotSigned and its kinds (401)."""
        found: dict[str, GatewayKey] = {}

        def resolve(keyid: str) -> Any:  # noqa: ANN401 - as the library has it
            keys = GatewayKey.objects.select_related("gateway__site")
            key = keys.filter(thumbprint=keyid).first()
            if key:
                found[keyid] = key
            return key_of(key.public) if key else None

        told = signed(Message.of(request._request), body_of(request), resolve)
        key = found[told.keyid]
        if key.ended_at or key.gateway.revoked_at:
            raise KeyRevoked("This key was revoked or replaced.")
        spend(told)
        name_gateway(key.gateway_id)
        caller = Caller(key.gateway, key)
        if key.used_at is None:
            take_over_key(by=caller, key=key)
        note_contact(caller)
        vars(request._request)[SIGNED_WITH] = told
        return AnonymousUser(), caller

    def authenticate_header(self, request: Request) -> str:
        """What a 401 answers in WWW-Authenticate."""
        return 'Signature realm="gateway"'


def note_contact(caller: Caller) -> None:
    """Write down that it was heard of, at most every SEEN_EVERY."""
    if quick.add(f"gateway_seen:{caller.gateway.pk}", 1, SEEN_EVERY.total_seconds()):
        GatewayStatus.objects.filter(gateway=caller.gateway).update(seen_at=Now())


class IsGateway(BasePermission):
    """Signed by a gateway's key."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        """Whether a gateway asks."""
        return isinstance(request.auth, Caller)


class Often(SimpleRateThrottle):
    """So many requests of one gateway in a minute: twenty times what it needs."""

    rate = "120/min"
    scope = "gateway"
    cache = quick  # type: ignore[assignment]  # a proxy of one; while the broker is away nothing is counted

    def get_cache_key(self, request: Request, view: APIView) -> str | None:
        """One count a gateway."""
        caller = request.auth
        return f"gateway_often:{caller.gateway.pk}" if isinstance(caller, Caller) else None


class Tries(SimpleRateThrottle):
    """So many tries of a code from one address in a minute."""

    rate = "10/min"
    scope = "gateway_enrol"

    def get_cache_key(self, request: Request, view: APIView) -> str:
        """One count an address."""
        return f"gateway_enrol:{client_address(request._request)}"


class GatewayEndpoint(Endpoint):
    """Answers gateways, each what lies at its own site."""

    authentication_classes = [SignedRequest]
    permission_classes = [IsGateway]
    throttle_classes = [Often]

    @property
    def caller(self) -> Caller:
        """The gateway that asks. Raises NotAuthenticated."""
        if not isinstance(self.request.auth, Caller):
            raise exceptions.NotAuthenticated
        return self.request.auth

    @property
    def told(self) -> Signed:
        """What its signature says."""
        found: Signed = vars(self.request._request)[SIGNED_WITH]
        return found

    def finalize_response(
        self, request: Request, response: Response, *args: object, **kwargs: object
    ) -> Response:
        """With the server's clock, by which a gateway corrects its own."""
        answered = super().finalize_response(request, response, *args, **kwargs)
        answered["Date"] = http_date(timezone.now().timestamp())
        return answered


class SignedScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the API's description names it."""

    target_class = SignedRequest
    name = "signature"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        """OpenAPI's words for it."""
        return {
            "type": "http",
            "scheme": "signature",
            "description": "RFC 9421 HTTP Message Signature with the gateway's own Ed25519 key.",
        }
