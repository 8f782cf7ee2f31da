"""A gateway as a test plays one: its key, its clock, its signed requests."""

import gzip
import json
import secrets
import time
import uuid
from collections.abc import Iterator, Mapping, MutableMapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.test import Client
from http_message_signatures import HTTPMessageSigner, HTTPSignatureKeyResolver, algorithms

from people.persons.models import User
from stations.equipment.models import Site
from stations.gateways.actions import add_gateway
from stations.gateways.batches import BATCH
from stations.gateways.keys import encoded, jwk_of, thumbprint_of
from stations.gateways.models import Gateway
from stations.gateways.signatures import COVERED, LABEL, NEW_LABEL, TAG, WITH_BODY

API = "/api/v1/gateway/"


class Headers(MutableMapping[str, str]):
    """What the signing library writes into."""

    def __init__(self, given: Mapping[str, str]) -> None:
        self.kept = dict(given)

    def __getitem__(self, name: str) -> str:
        return self.kept[name]

    def __setitem__(self, name: str, value: str) -> None:
        self.kept[name] = value

    def __delitem__(self, name: str) -> None:
        del self.kept[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.kept)

    def __len__(self) -> int:
        return len(self.kept)


@dataclass
class Out:
    """A request to be signed."""

    method: str
    url: str
    headers: Headers


class _Keys(HTTPSignatureKeyResolver):
    def __init__(self, key: Ed25519PrivateKey) -> None:
        self.key = key

    def resolve_private_key(self, key_id: str) -> Any:  # noqa: ANN401
        return self.key


@dataclass
class Box:
    """The program at the bar."""

    key: Ed25519PrivateKey = field(default_factory=Ed25519PrivateKey.generate)
    covers: tuple[str, ...] = COVERED
    slow: float = 0  # s that its clock is behind
    lasts: float | None = None  # s from when it signs, where it says so
    client: Client = field(default_factory=Client)
    source: str = ""
    sequence: int = 0

    @property
    def public(self) -> str:
        """x of its JWK."""
        return encoded(self.key.public_key().public_bytes_raw())

    @property
    def keyid(self) -> str:
        """The thumbprint of its key."""
        return thumbprint_of(self.public)

    @property
    def now(self) -> datetime:
        """By its clock."""
        return datetime.fromtimestamp(time.time() - self.slow, UTC)

    @property
    def ends(self) -> datetime | None:
        """When what it signs is over, by its clock."""
        return None if self.lasts is None else self.now + timedelta(seconds=self.lasts)

    def signed(
        self, method: str, path: str, body: bytes = b"", *, kind: str = "application/json",
        nonce: str = "", also: "Box | None" = None, more: Mapping[str, str] | None = None,
    ) -> dict[str, str]:  # fmt: skip
        """The headers of a request, signed."""
        out = Out(method, f"http://testserver{path}", Headers(more or {}))
        if body:
            out.headers["Content-Type"] = kind
        for label, who in ((LABEL, self), (NEW_LABEL, also)):
            if who is None:
                continue
            HTTPMessageSigner(
                signature_algorithm=algorithms.ED25519, key_resolver=_Keys(who.key)
            ).sign(
                out, key_id=who.keyid, label=label, tag=TAG,
                created=self.now, expires=self.ends,
                nonce=nonce or secrets.token_urlsafe(16), append_if_signature_exists=True,
                covered_component_ids=(*self.covers, *WITH_BODY) if body else self.covers,
                body=body or None, use_existing_digest="Content-Digest" in out.headers,
            )  # fmt: skip
        return out.headers.kept

    def get(self, name: str, *, tag: str = "") -> Any:  # noqa: ANN401
        """Ask; with the tag of what is known."""
        path = f"{API}{name}"
        more = {"If-None-Match": tag} if tag else {}
        return self.client.get(path, headers=self.signed("GET", path, more=more))

    def post(self, name: str, sent: object, *, also: "Box | None" = None) -> Any:  # noqa: ANN401
        """Tell."""
        body = json.dumps(sent).encode()
        headers = self.signed("POST", f"{API}{name}", body, also=also)
        return self.posted(name, body, headers)

    def posted(self, name: str, body: bytes, headers: Mapping[str, str]) -> Any:  # noqa: ANN401
        """Send what was signed, or was not."""
        kind = headers.get("Content-Type", "application/json")
        rest = {k: v for k, v in headers.items() if k != "Content-Type"}
        return self.client.post(f"{API}{name}", body, content_type=kind, headers=rest)

    def report(self, *events: Mapping[str, object], packed: bool = False) -> Any:  # noqa: ANN401
        """Send a batch."""
        body = json.dumps(events).encode()
        return self.batch(gzip.compress(body) if packed else body, packed=packed)

    def batch(self, body: bytes, *, packed: bool = False, kind: str = BATCH) -> Any:  # noqa: ANN401
        """Send a body as a batch of events."""
        headers = self.signed("POST", f"{API}events", body, kind=kind)
        more = {"Content-Encoding": "gzip"} if packed else {}
        return self.posted("events", body, headers | more)

    def event(self, kind: str, data: object, **other: object) -> dict[str, object]:
        """The next event of its outbox."""
        self.sequence += 1
        told = {
            "specversion": "1.0", "id": str(uuid.uuid4()), "source": self.source,
            "type": f"portaledger.{kind}.v1", "time": self.now.isoformat(),
            "sequence": str(self.sequence), "datacontenttype": "application/json", "data": data,
        }  # fmt: skip
        return told | other

    def enrol(self, code: str, **other: object) -> Any:  # noqa: ANN401
        """Ask to be the gateway of this code."""
        return self.post("enrol", enrolment(self, code, **other))


def enrolment(box: Box, code: str, **other: object) -> dict[str, object]:
    """The body of an enrolment."""
    told = {"code": code, "public_key": jwk_of(box.public), "name": "box", "version": "1.0",
            "driver": "simulator"}  # fmt: skip
    return told | other


def enrolled(by: User, site: Site, name: str = "Box under the counter") -> tuple[Box, Gateway]:
    """A gateway that somebody made a code for, enrolled."""
    gateway, code = add_gateway(by=by, site=site, name=name)
    box = Box()
    answer = box.enrol(code)
    assert answer.status_code == 201, answer.content
    box.source = answer.json()["source"]
    gateway.refresh_from_db()
    return box, gateway
