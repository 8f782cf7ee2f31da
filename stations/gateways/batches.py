"""A batch of events as it comes in: unpacked within bounds, read, its envelopes checked."""

import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import IO, Any, NoReturn
from uuid import UUID

from rest_framework.exceptions import ParseError, UnsupportedMediaType
from rest_framework.parsers import BaseParser

from audit.errors import UNSHOWN, Invalid, Problem, shown
from stations.gateways.authentication import TooLarge
from stations.gateways.schemas import ENVELOPE, TYPES, faults

EVENTS = 500
ROOM = timedelta(days=1)  # more than any clock is off by
UNPACKED = 8_000_000  # bytes
BATCH = "application/cloudevents-batch+json"


@dataclass(frozen=True, slots=True)
class Event:
    """One event of a batch, its envelope as it must be."""

    id: UUID
    sequence: int
    type: str
    time: datetime
    data: Any
    problems: tuple[Problem, ...] = ()


class BatchParser(BaseParser):
    """CloudEvents 1.0 in JSON batch format, as it is or by gzip."""

    media_type = BATCH

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:  # noqa: ANN401 - JSON
        """The batch. Raises ParseError (400), TooLarge (413), UnsupportedMediaType (415)."""
        request = (parser_context or {})["request"]
        coding = request.headers.get("Content-Encoding", "identity").strip().lower()
        if coding not in ("identity", "gzip"):
            raise UnsupportedMediaType(coding, "Content-Encoding is gzip, or left out.")
        sent: bytes = stream.read()
        return parsed(unpacked(sent) if coding == "gzip" else sent)


def unpacked(packed: bytes) -> bytes:
    """One gzip member, of at most UNPACKED bytes. Raises ParseError, TooLarge."""
    reader = zlib.decompressobj(wbits=31)
    try:
        whole = reader.decompress(packed, UNPACKED + 1)
    except zlib.error as bad:
        raise ParseError("The body is not gzip.") from bad
    if len(whole) > UNPACKED:
        raise TooLarge(f"Unpacked, a body is at most {UNPACKED:,} bytes.")
    if not reader.eof or reader.unused_data:
        raise ParseError("The body is not one whole gzip member.")
    return whole


def parsed(body: bytes) -> Any:  # noqa: ANN401 - JSON
    """Raises ParseError for anything that is not UTF-8 JSON."""
    try:
        return json.loads(body.decode("utf-8"), parse_constant=_refuse)
    except RecursionError as deep:
        raise ParseError("The body is nested too deeply.") from deep
    except ValueError as bad:
        raise ParseError(f"The body is not JSON in UTF-8: {shown(bad)}") from bad


def _refuse(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a JSON number")


def events_of(batch: object, source: str) -> list[Event]:
    """The events; each comes with the faults of its data.

    A batch that is none, or an envelope that says not whose, which or when, is a mistake of the
    program: Raises Invalid, and nothing of it is taken.
    """
    if not isinstance(batch, list) or len(batch) > EVENTS:
        told = len(batch) if isinstance(batch, list) else ""
        raise Invalid("events", told, f"a JSON array of at most {EVENTS} events")
    problems: list[Problem] = []
    for place, told in enumerate(batch):
        found = faults(ENVELOPE, told, f"events[{place}]")
        if not found and told["source"] != source:
            found = [Problem(f"events[{place}].source", told["source"], source)]
        problems += found
        if len(problems) >= 10:
            break
    if problems:
        raise Invalid.of(problems[:10])
    return [_event(told, place) for place, told in enumerate(batch)]


def moment_of(text: str) -> datetime:
    """A moment (RFC 3339) in UTC, as PostgreSQL knows no zone sixteen hours off.

    Raises ValueError for one that no clock can be corrected to.
    """
    try:
        found = datetime.fromisoformat(text).astimezone(UTC)
        found - ROOM, found + ROOM
    except OverflowError as beyond:
        raise ValueError(text) from beyond
    return found


def _event(told: Mapping[str, Any], place: int) -> Event:
    try:
        time = moment_of(told["time"])
    except ValueError as bad:
        allowed = "a moment with its zone (RFC 3339)"
        raise Invalid(f"events[{place}].time", told["time"], allowed) from bad
    data, kind = told["data"], told["type"]
    if not _can_be_kept(data):
        allowed = "text without control characters, and numbers that a double holds"
        data, found = None, [Problem("data", UNSHOWN, allowed)]
    elif kind not in TYPES:
        found = [Problem("type", kind, "one of " + ", ".join(TYPES))]
    else:
        found = faults(kind, data)
    return Event(UUID(told["id"]), int(told["sequence"]), kind, time, data, tuple(found))


def _can_be_kept(data: object) -> bool:
    """PostgreSQL keeps no NUL, no half of a surrogate pair, and no number too large for a float."""
    try:
        text = json.dumps(data, ensure_ascii=False, allow_nan=False)
        text.encode()
    except ValueError:
        return False
    return "\\u0000" not in text
