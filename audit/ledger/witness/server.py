"""The witness over HTTP: one path, small bodies, bounded in time and in how many ask at once.

No TLS: what goes over the line is signed and no secret. Beyond one's own machine put a proxy or a
tunnel in front (docs/history-and-archives.md, Witnesses).
"""

from __future__ import annotations

import logging
import socket
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import BoundedSemaphore, Timer

from audit.ledger.witness.protocol import MOST_BYTES, PATH, Answer
from audit.ledger.witness.service import WitnessService

MOST_AT_ONCE = 32  # connections; further ones are closed unanswered
PATIENCE = 10.0  # seconds without a byte until a connection is closed
LONGEST = 60.0  # seconds until it is closed, whatever comes
log = logging.getLogger(__name__)

NOT_FOUND = Answer(404, f"A witness answers POST {PATH} alone.\n")
NO_LENGTH = Answer(411, "Send the body's length.\n")
TOO_LONG = Answer(413, f"A body of up to {MOST_BYTES} bytes.\n")


class WitnessServer(ThreadingHTTPServer):
    """Listens at once; `serve_forever` answers. Raises OSError if the address can't be had."""

    daemon_threads = True
    block_on_close = False
    request_queue_size = 64

    def __init__(self, host: str, port: int, service: WitnessService) -> None:
        self.service = service
        self._free = BoundedSemaphore(MOST_AT_ONCE)
        self.address_family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        super().__init__((host, port), Handler)

    @property
    def url(self) -> str:
        """Where it answers."""
        host, port = self.server_address[:2]
        name = f"[{host!s}]" if self.address_family == socket.AF_INET6 else str(host)
        return f"http://{name}:{port}"

    def process_request(self, request: object, client_address: object) -> None:
        """A thread for the connection, or its end where too many are open."""
        if not self._free.acquire(blocking=False):
            self.shutdown_request(request)  # type: ignore[arg-type]
            return
        try:
            super().process_request(request, client_address)  # type: ignore[arg-type]
        except BaseException:
            self._free.release()
            raise

    def process_request_thread(self, request: object, client_address: object) -> None:
        """The connection in its thread."""
        ends = Timer(LONGEST, self.shutdown_request, [request])
        ends.daemon = True
        ends.start()
        try:
            super().process_request_thread(request, client_address)  # type: ignore[arg-type]
        finally:
            ends.cancel()
            self._free.release()

    def handle_error(self, request: object, client_address: object) -> None:
        """A connection that broke is the other side's business."""
        log.debug("a connection from %s broke", client_address, exc_info=True)


class Handler(BaseHTTPRequestHandler):
    """One connection, kept for further requests."""

    server: WitnessServer
    protocol_version = "HTTP/1.1"
    server_version = "witness"
    sys_version = ""
    timeout = PATIENCE

    def do_POST(self) -> None:
        """An offer."""
        if self.path != PATH:
            self._end(NOT_FOUND)
            return
        length = self.headers.get("Content-Length", "")
        if not (length.isascii() and length.isdigit()) or "Transfer-Encoding" in self.headers:
            self._end(NO_LENGTH)
        elif len(length) > 9 or int(length) > MOST_BYTES:
            self._end(TOO_LONG)
        else:
            self._send(self.server.service.answer(self.rfile.read(int(length))))

    def do_GET(self) -> None:
        """Nothing is read from a witness over the line."""
        self._end(NOT_FOUND)

    def _end(self, answer: Answer) -> None:
        """An answer before the body was read: what follows on the connection is not looked at."""
        self.close_connection = True
        self._send(answer)

    def _send(self, answer: Answer) -> None:
        body = answer.body.encode()
        self.send_response(answer.status)
        self.send_header("Content-Type", answer.kind)
        self.send_header("Content-Length", str(len(body)))
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the library's name
        """One line a request, without what the client made of it."""
        log.debug(format, *args)
