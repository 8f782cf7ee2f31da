"""A small server that keeps to the gateway interface, for tests of the gateway alone.

It checks every signature, takes each number once, and says what it has without a gap.
"""

import gzip
import hashlib
import json
import threading
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from http_message_signatures import (
    HTTPMessageVerifier,
    InvalidSignature,
    MappingKeyResolver,
    algorithms,
)

from gateway.client import BASE, BATCH
from gateway.keys import thumbprint
from gateway.signing import COVERED, COVERED_WITH_BODY, LABEL_OF_NEW_KEY, TAG
from tests.gateway.jwks import key_of

CLOCK = 300  # s that a signature may be off
SOURCE = "urn:uuid:00000000-0000-4000-8000-000000000001"


@dataclass
class Asked:
    """A request as the library that verifies it reads one."""

    method: str
    url: str
    headers: Mapping[str, str]


@dataclass
class Ledger:
    """What the server knows; outlives the server itself."""

    slots: list[dict[str, Any]] = field(default_factory=list)
    keys: dict[str, Ed25519PublicKey] = field(default_factory=dict)
    events: dict[int, dict[str, Any]] = field(default_factory=dict)
    ids: dict[str, int] = field(default_factory=dict)
    doubled: list[int] = field(default_factory=list)  # one number, two events
    repeated: int = 0
    nonces: set[str] = field(default_factory=set)
    codes: set[str] = field(default_factory=lambda: {"the-code"})
    had: set[str] = field(default_factory=set)  # every key that ever enrolled
    version: int = 1
    revoked: bool = False
    offset: float = 0.0  # s that this server's clock is ahead
    answers: list[tuple[int, dict[str, str], bytes]] = field(default_factory=list)  # next, once
    refuses: set[str] = field(default_factory=set)  # types of events that spoil a batch
    lock: threading.Lock = field(default_factory=threading.Lock)
    asked: list[str] = field(default_factory=list)

    @property
    def now(self) -> datetime:
        """By this server's clock."""
        return datetime.now(UTC) + timedelta(seconds=self.offset)

    @property
    def through(self) -> int:
        """The last number without a gap before it."""
        last = 0
        while last + 1 in self.events:
            last += 1
        return last

    def of(self, kind: str) -> list[dict[str, Any]]:
        """The data of every event of a kind, in the order of their numbers."""
        with self.lock:
            found = [self.events[number] for number in sorted(self.events)]
        return [each["data"] for each in found if each["type"] == f"portaledger.{kind}.v1"]

    def take(self, event: dict[str, Any]) -> str:
        """Take one, unless it is known, or its number belongs to another."""
        number = int(event["sequence"])
        if event["id"] in self.ids:
            if self.ids[event["id"]] != number:
                self.doubled.append(number)
            self.repeated += 1
            return "repeated"
        if number in self.events:
            self.doubled.append(number)
            return "clashing"
        self.events[number], self.ids[event["id"]] = event, number
        return "taken"

    def missing(self) -> list[list[int]]:
        """The gaps below the highest number."""
        gaps, last = [], 0
        for number in sorted(self.events):
            if number > last + 1:
                gaps.append([last + 1, number - 1])
            last = number
        return gaps


def slot(number: int, *, placement: int | None = 0, **others: Any) -> dict[str, Any]:  # noqa: ANN401
    """A slot as the server serves it, with a digest that fits unless one is given."""
    body: dict[str, Any] = {
        "slot": 100 + number,
        "machine": "M1",
        "station": 1,
        "number": number,
        "placement": number if placement == 0 else placement,  # each its own
        "title": "House",
        "locked": True,
        "settings": {
            "water_volume": {"value": "160", "unit": "{pulse}"},
            "brew_temperature": {"value": "92.5", "unit": "Cel"},
            "ends_by": {"value": "volume", "unit": ""},
        },
        "ranges": {"brew_temperature": {"low": "85", "high": "97", "unit": "Cel"}},
        "problem": "",
        **others,
    }
    signed = {name: body[name] for name in ("placement", "settings", "slot")}
    body.setdefault("digest", hashlib.sha256(rfc8785.dumps(signed)).hexdigest())
    return body


class _Handler(BaseHTTPRequestHandler):
    ledger: Ledger
    protocol_version = "HTTP/1.1"
    timeout = 30

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002
        """Nothing is printed."""

    def do_GET(self) -> None:
        self._answer(b"")

    def do_POST(self) -> None:
        length = int(self.headers.get("Content-Length", "0"))
        body = self.rfile.read(length)
        if len(body) < length:
            self.close_connection = True
            return
        self._answer(body)

    def _answer(self, body: bytes) -> None:
        ledger = self.ledger
        with ledger.lock:
            path = urlsplit(self.path).path.removeprefix(BASE)
            ledger.asked.append(path)
            if ledger.answers:
                self._send(*ledger.answers.pop(0))
                return
            problem = self._problem(path, body)
            if problem:
                self._problems(*problem)
            else:
                getattr(self, f"_{path}")(body)

    def _problem(self, path: str, body: bytes) -> tuple[int, str] | None:
        """Why the request is not answered: status and type."""
        if self.ledger.revoked:
            return 401, "revoked"
        keys = dict(self.ledger.keys)
        if path == "enrol":
            key = key_of(json.loads(body)["public_key"])
            keys = {thumbprint(key): key}
        host = self.headers["Host"]
        asked = Asked(self.command, f"http://{host}{self.path}", dict(self.headers.items()))
        verifier = HTTPMessageVerifier(
            signature_algorithm=algorithms.ED25519,
            key_resolver=MappingKeyResolver(public_keys=keys, private_keys={}),
        )
        verifier.max_clock_skew = timedelta(days=9999)
        try:
            (found,) = verifier.verify(
                asked,
                expect_tag=TAG,
                expect_label="gateway",
                max_age=None,
                require_components=COVERED_WITH_BODY if body else COVERED,
                body=body or None,
            )
        except InvalidSignature:
            return 401, "signature"
        if abs(int(found.parameters["created"]) - self.ledger.now.timestamp()) > CLOCK:
            return 401, "clock"
        if found.nonce is None or found.nonce in self.ledger.nonces:
            return 401, "replayed"
        self.ledger.nonces.add(found.nonce)
        return None

    def _enrol(self, body: bytes) -> None:
        told = json.loads(body)
        if told["code"] not in self.ledger.codes:
            self._problems(403, "code")
            return
        self.ledger.codes.discard(told["code"])
        key = key_of(told["public_key"])
        if thumbprint(key) in self.ledger.had:
            self._problems(400, "invalid")
            return
        self.ledger.had.add(thumbprint(key))
        self.ledger.keys = {thumbprint(key): key}
        answer = {"gateway": 1, "keyid": thumbprint(key), "source": SOURCE, "site": "LIN"}
        self._json(201, answer | {"limits": {}})

    def _key(self, body: bytes) -> None:
        new = key_of(json.loads(body)["public_key"])
        if f"{LABEL_OF_NEW_KEY}=" not in self.headers["Signature"]:
            self._problems(401, "signature")
            return
        self.ledger.keys[thumbprint(new)] = new
        self._json(200, {"keyid": thumbprint(new)})

    def _settings(self, _: bytes) -> None:
        cursor = f"c{self.ledger.version}"
        since = parse_qs(urlsplit(self.path).query).get("since")
        if self.headers.get("If-None-Match") == f'"{cursor}"':
            self._send(304, {}, b"")
            return
        body = {"site": "LIN", "cursor": cursor, "whole": not since, "slots": self.ledger.slots}
        self._json(200, body, {"ETag": f'"{cursor}"'})

    def _events(self, body: bytes) -> None:
        ledger = self.ledger
        if self.headers["Content-Type"] != BATCH or len(body) > 1_000_000:
            self._problems(413, "batch")
            return
        events = json.loads(gzip.decompress(body))
        if len(events) > 500 or any(each["type"] in ledger.refuses for each in events):
            self._problems(400, "batch")
            return
        became = [(ledger.take(each), each) for each in events]
        count = Counter(what for what, _ in became)
        problems = [{"field": "sequence", "value": "", "allowed": "a number of its own"}]
        refused = [
            {"id": each["id"], "sequence": each["sequence"], "problems": problems}
            for what, each in became
            if what == "clashing"
        ]
        answer = {
            "taken": count["taken"],
            "repeated": count["repeated"],
            "refused": refused,
            "through": ledger.through,
            "last": max(ledger.events, default=0),
            "missing": ledger.missing(),
            "next_poll": 15,
        }
        self._json(200, answer)

    def _problems(self, status: int, kind: str) -> None:
        body = json.dumps({"type": f"/problems#{kind}", "title": kind}).encode()
        self._send(status, {"Content-Type": "application/problem+json"}, body)

    def _json(self, status: int, body: object, headers: Mapping[str, str] = {}) -> None:
        kind = {"Content-Type": "application/json"}
        self._send(status, {**kind, **headers}, json.dumps(body).encode())

    def _send(self, status: int, headers: Mapping[str, str], body: bytes) -> None:
        self.send_response_only(status)
        self.send_header("Date", format_datetime(self.ledger.now, usegmt=True))
        for name, value in headers.items():
            self.send_header(name, value)
        if status != 304:
            self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)


@contextmanager
def serving(ledger: Ledger, port: int = 0) -> Iterator[str]:
    """The address of a server that knows what the ledger does."""
    handler = type("Handler", (_Handler,), {"ledger": ledger})
    server = ThreadingHTTPServer(("127.0.0.1", port), handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
