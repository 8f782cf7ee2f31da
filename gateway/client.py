"""What the gateway says to the server over HTTP, and what it makes of the answers."""

import gzip
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Any

import requests
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from requests import PreparedRequest, Request, Response

from gateway import VERSION
from gateway.clock import Clock
from gateway.keys import jwk
from gateway.signing import LABEL_OF_NEW_KEY, Signer

BASE = "/api/v1/gateway/"
BATCH = "application/cloudevents-batch+json"
AGAIN = {401, 408, 425, 429}  # the same, sent again later, may be taken
TIMEOUT = (10.0, 30.0)  # seconds to connect, and between two pieces of an answer
REFUSES_A_BATCH = {400, 413, 415, 422}


class LineError(Exception):
    """No usable answer: try again, not before ``wait`` seconds where the server said so."""

    def __init__(self, why: str, wait: float = 0.0, status: int = 0) -> None:
        super().__init__(why)
        self.wait = wait
        self.status = status

    @property
    def unknown_key(self) -> bool:
        """Whether there was an answer, and it was that the signature is nobody's."""
        return self.status == 401


class RevokedError(Exception):
    """A person revoked this gateway, or its key was replaced."""


class ServerRefusesError(Exception):
    """The server will not do what it was asked, and says why (RFC 9457)."""

    def __init__(self, status: int, why: str) -> None:
        super().__init__(f"the server refuses ({status}): {why}")
        self.status = status

    @property
    def of_a_batch(self) -> bool:
        """Whether it will not take this as a batch, however often it is sent."""
        return self.status in REFUSES_A_BATCH


@dataclass(frozen=True)
class Taken:
    """What the server said to a batch: it knows everything up to ``through``, and these events.

    ``clashing`` are ids of events whose number it has from another one: it does not know those.
    """

    through: int
    last: int
    clashing: frozenset[str]
    refused: Sequence[Mapping[str, Any]]
    next_poll: float | None


@dataclass(frozen=True)
class Fetched:
    """What slots should hold; ``body`` is None where nothing changed since."""

    body: Mapping[str, Any] | None
    etag: str


class Server:
    """One server, spoken to with one key. Not for two threads at once."""

    def __init__(self, url: str, key: Ed25519PrivateKey, clock: Clock) -> None:
        self.url = url.rstrip("/") + BASE
        self.clock = clock
        self.signer = Signer(key, clock.signing)
        self.session = requests.Session()
        self.session.headers["User-Agent"] = f"portaledger-gateway/{VERSION}"

    def close(self) -> None:
        """Close the connections that are kept open."""
        self.session.close()

    def enrol(self, *, code: str, name: str, driver: str) -> Mapping[str, Any]:
        """Make the key known by a one-time code. Raises LineError, ServerRefusesError."""
        body = {
            "code": code,
            "public_key": jwk(self.signer.key.public_key()),
            "name": name,
            "version": VERSION,
            "driver": driver,
        }
        return _object(self._call("POST", "enrol", _json(body)))

    def rotate(self, new: Ed25519PrivateKey) -> None:
        """Make a new key known, signed by the present one and by itself; good until it is used."""
        body = _json({"public_key": jwk(new.public_key())})
        self._call("POST", "key", body, also=Signer(new, self.clock.signing, LABEL_OF_NEW_KEY))

    def settings(self, *, since: str = "", etag: str = "") -> Fetched:
        """What slots should hold since a cursor; everything without one."""
        headers = {"If-None-Match": etag} if etag else {}
        params = {"since": since} if since else {}
        answer = self._signed(lambda: Request("GET", self.url + "settings", headers, params=params))
        if answer.status_code == 304:
            return Fetched(None, etag)
        return Fetched(_object(answer), answer.headers.get("ETag", ""))

    def send(self, events: Callable[[timedelta], Sequence[Mapping[str, Any]]]) -> Taken:
        """Send a batch of events, whose times are shifted by as much as the signature's moment.

        Raises LineError, ServerRefusesError, RevokedError."""
        headers = {"Content-Type": BATCH, "Content-Encoding": "gzip"}

        counts: list[int] = []

        def request() -> Request:
            told = events(self.clock.applied)
            counts.append(len(told))
            text = json.dumps(told, separators=(",", ":"))
            body = gzip.compress(text.encode(), mtime=0)
            return Request("POST", self.url + "events", headers, data=body)

        return _taken(_object(self._signed(request)), counts[-1])

    def _call(self, method: str, path: str, body: bytes, also: Signer | None = None) -> Response:
        headers = {"Content-Type": "application/json"}
        return self._signed(lambda: Request(method, self.url + path, headers, data=body), also)

    def _signed(self, make: Callable[[], Request], also: Signer | None = None) -> Response:
        """Sign and send; made anew once more where the server says that our clock is off."""
        answer = self._once(make(), also)
        if answer.status_code == 401 and problem_type(answer) == "clock":
            if (date := date_of(answer)) is None:
                raise LineError("the server refuses our clock and does not say its own")
            self.clock.refused(date)
            answer = self._once(make(), also)
        elif (date := date_of(answer)) is not None and answer.status_code < 400:
            self.clock.heard(date)
        return _usable(answer)

    def _once(self, request: Request, also: Signer | None) -> Response:
        def signed(prepared: PreparedRequest) -> PreparedRequest:
            prepared = self.signer(prepared)
            return also(prepared) if also else prepared

        request.auth = signed
        try:
            prepared = self.session.prepare_request(request)
            url = str(prepared.url)
            kept = self.session.merge_environment_settings(url, {}, None, None, None)
            return self.session.send(prepared, timeout=TIMEOUT, allow_redirects=False, **kept)
        except (requests.RequestException, OSError) as problem:
            raise LineError(f"no answer: {problem}") from problem


def date_of(answer: Response) -> datetime | None:
    """The server's Date, to a second."""
    try:
        return parsedate_to_datetime(answer.headers["Date"]).astimezone(UTC)
    except (KeyError, ValueError):
        return None


def problem_type(answer: Response) -> str:
    """The last part of a problem's type (RFC 9457); empty where there is none."""
    try:
        kind = answer.json().get("type", "")
    except (ValueError, AttributeError):
        return ""
    return str(kind).rsplit("/", 1)[-1].rsplit(":", 1)[-1].rsplit("#", 1)[-1]


def wait_of(answer: Response) -> float:
    """Seconds that Retry-After asks for; 0 without one."""
    value = answer.headers.get("Retry-After", "").strip()
    if value.isdigit():
        return float(value)
    try:
        return max(0.0, (parsedate_to_datetime(value) - datetime.now(UTC)).total_seconds())
    except (ValueError, TypeError):
        return 0.0


def _usable(answer: Response) -> Response:
    status = answer.status_code
    if status in {200, 201, 304}:
        return answer
    if status == 401 and problem_type(answer) == "revoked":
        raise RevokedError(words_of(answer))
    # A refusal without a problem to read comes from something between here and the server.
    if 400 <= status < 500 and status not in AGAIN and is_problem(answer):
        raise ServerRefusesError(status, words_of(answer))
    raise LineError(f"answered {status}: {words_of(answer)}", wait_of(answer), status)


def is_problem(answer: Response) -> bool:
    """Whether an answer is a problem as RFC 9457 has it."""
    return answer.headers.get("Content-Type", "").startswith("application/problem+json")


def words_of(answer: Response) -> str:
    """What a problem says, shortened."""
    try:
        body = answer.json()
        said = [str(body[name]) for name in ("title", "detail") if body.get(name)]
        said += [json.dumps(body[name]) for name in ("problems", "errors") if body.get(name)]
        return "; ".join(said)[:500] or answer.text[:200]
    except (ValueError, AttributeError, TypeError):
        return answer.text[:200]


def _object(answer: Response) -> Mapping[str, Any]:
    """The body as an object; anything else comes from somebody else than the server."""
    try:
        body = answer.json()
    except ValueError as problem:
        raise LineError(f"an answer that is no JSON: {answer.text[:80]!r}") from problem
    if not isinstance(body, dict):
        raise LineError("an answer that is no JSON object")
    return body


def _taken(body: Mapping[str, Any], count: int) -> Taken:
    """An answer to a batch, read strictly: what it does not say must not be taken for said."""
    try:
        through, last = int(body["through"]), int(body["last"])
        refused = list(body["refused"])
        poll = body.get("next_poll")
        accounted = int(body["taken"]) + int(body["repeated"]) + len(refused)
        clashing = frozenset(each["id"] for each in refused if _clashes(each))
        taken = Taken(through, last, clashing, refused, None if poll is None else float(poll))
    except (KeyError, TypeError, ValueError, AttributeError) as problem:
        raise LineError(f"an answer that does not say what is known: {problem!r}") from problem
    if accounted != count or not 0 <= through <= last:
        raise LineError("an answer that does not account for what was sent")
    return taken


def _clashes(refused: Mapping[str, Any]) -> bool:
    return any(each.get("field") == "sequence" for each in refused["problems"])


def _json(body: Mapping[str, Any]) -> bytes:
    return json.dumps(body, separators=(",", ":")).encode()
