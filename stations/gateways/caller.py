"""A gateway as the history names it: no person, and of its own site alone."""

import uuid
from dataclasses import dataclass, replace

from audit.capture.context import Channel, request_context
from audit.capture.devices import GATEWAY_BEGINS
from audit.errors import Subject
from stations.gateways.models import Gateway, GatewayKey

ROLE = "gateway"


@dataclass(frozen=True, slots=True)
class Caller:
    """The gateway that acts, and the key that its request was signed with."""

    gateway: Gateway
    key: GatewayKey | None = None

    @property
    def pk(self) -> None:
        """None: the history's numbers of actors are people's."""

    @property
    def name(self) -> str:
        """As its people named it."""
        return self.gateway.name

    def history_role(self, site_id: int | None) -> str:
        """In place of a person's role."""
        return ROLE


def subject_of(gateway: Gateway) -> Subject:
    """The gateway as the history names it."""
    return Subject("gateway", gateway.pk, gateway.name)


def name_gateway(gateway: int) -> None:
    """Say that all of this request is done by this gateway; its id tells it from here on."""
    told = f"{GATEWAY_BEGINS}{gateway}-{uuid.uuid4().hex}"
    here = replace(request_context.get(), channel=Channel.GATEWAY, request_id=told)
    request_context.set(here)
