"""One request to a witness: bounded in time and in what is read, no redirect followed."""

import socket
import ssl
from http.client import HTTPConnection, HTTPException, HTTPResponse, HTTPSConnection
from threading import Event, Timer
from urllib.parse import urlsplit

from audit.ledger.witness.protocol import MOST_BYTES, PATH, Answer

SECONDS = 5.0  # to connect, and again for all of the rest


class SilentError(Exception):
    """No answer that could be used; the message says why."""


def ask(url: str, body: bytes) -> Answer:
    """What the witness at this submission prefix answers. Raises SilentError."""
    parts = urlsplit(url)
    line, late = _connection(parts.scheme, parts.hostname or "", parts.port), Event()
    try:
        line.connect()
        # A drop of an answer now and then would reset a time-out by the byte for ever.
        ends = Timer(SECONDS, _shut, [line.sock, late])
        ends.daemon = True
        ends.start()
        try:
            line.request("POST", parts.path + PATH, body, {"Content-Type": "text/plain"})
            answer = _read(line.getresponse())
        finally:
            ends.cancel()
    except (OSError, HTTPException, UnicodeError) as error:
        raise SilentError(f"no answer: {error or type(error).__name__}") from error
    finally:
        line.close()
    if late.is_set():  # cut short, it may look like another answer
        raise SilentError(f"no whole answer within {SECONDS:.0f} s")
    return answer


def _connection(scheme: str, host: str, port: int | None) -> HTTPConnection:
    if scheme == "https":
        context = ssl.create_default_context()
        return HTTPSConnection(host, port, timeout=SECONDS, context=context)
    return HTTPConnection(host, port, timeout=SECONDS)


def _read(response: HTTPResponse) -> Answer:
    body = response.read(MOST_BYTES + 1)
    if len(body) > MOST_BYTES:
        raise SilentError(f"an answer of more than {MOST_BYTES} bytes")
    return Answer(response.status, body.decode("utf-8"), response.headers.get("Content-Type", ""))


def _shut(line: socket.socket, late: Event) -> None:
    late.set()
    try:
        line.shutdown(socket.SHUT_RDWR)
    except OSError:
        return  # it has ended
