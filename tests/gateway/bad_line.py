"""A line that drops, repeats, delays, re-orders and cuts: a proxy between gateway and server.

Each request is one connection to the server. What happens to it follows from a seed.
"""

import random
import socket
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from urllib.parse import urlsplit

WAIT = 30.0
HAPPENINGS = (
    "lost",  # the request never arrives
    "unanswered",  # it arrives, its answer does not
    "cut",  # half of the answer arrives
    "half",  # half of the request arrives
    "twice",  # it arrives twice
    "late",  # nobody is told, and it arrives after others
    "slow",
)


@dataclass
class BadLine:
    """What it does how often, and what it has done."""

    server: str
    seed: int = 1
    share: float = 0.5  # of requests that something happens to
    done: Counter[str] = field(default_factory=Counter)
    late: list[bytes] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)
    stopped: threading.Event = field(default_factory=threading.Event)

    def __post_init__(self) -> None:
        self.chance = random.Random(self.seed)

    def happening(self) -> str:
        """What happens to the next request."""
        with self.lock:
            bad = self.chance.random() < self.share
            what = self.chance.choice(HAPPENINGS) if bad else "fine"
            self.done[what] += 1
            return what

    def serve(self, client: socket.socket) -> None:
        """Every request of one connection."""
        client.settimeout(WAIT)
        with client, suppress(OSError):
            while not self.stopped.is_set() and (request := read_message(client)):
                if not self.carry(request, client):
                    return

    def carry(self, request: bytes, client: socket.socket) -> bool:
        """Whether the connection goes on after this request."""
        what = self.happening()
        if what == "lost":
            return False
        if what == "late":
            with self.lock:
                self.late.append(request)
            return False
        if what == "half":
            self.ask(request[: len(request) // 2], whole=False)
            return False
        if what == "slow":
            time.sleep(0.05)
        answer = self.ask(request)
        if what == "twice":
            self.ask(request)
        self.deliver_late()
        if what == "unanswered" or not answer:
            return False
        client.sendall(answer[: len(answer) // 2] if what == "cut" else answer)
        return what != "cut"

    def deliver_late(self) -> None:
        """What was held back arrives now, in another order."""
        with self.lock:
            held, self.late = self.late, []
            self.chance.shuffle(held)
        for request in held:
            self.ask(request)

    def ask(self, request: bytes, *, whole: bool = True) -> bytes:
        """The server's answer."""
        address = urlsplit(self.server)
        at = (address.hostname, address.port)
        with suppress(OSError), socket.create_connection(at, WAIT) as server:
            server.sendall(request)
            return read_message(server) if whole else b""
        return b""


def read_message(stream: socket.socket) -> bytes:
    """One HTTP message with its body; what there is of it where the other side hangs up."""
    read = b""
    while b"\r\n\r\n" not in read:
        if not (more := stream.recv(65536)):
            return read
        read += more
    head, _, body = read.partition(b"\r\n\r\n")
    length = 0
    chunked = False
    for line in head.split(b"\r\n")[1:]:
        name, _, value = line.partition(b":")
        if name.lower() == b"content-length":
            length = int(value)
        chunked = chunked or (name.lower() == b"transfer-encoding" and b"chunked" in value)
    while (not body.endswith(b"0\r\n\r\n")) if chunked else (len(body) < length):
        if not (more := stream.recv(65536)):
            break
        body += more
    return head + b"\r\n\r\n" + body


@contextmanager
def bad_line(line: BadLine) -> Iterator[str]:
    """The address of the near end."""
    listening = socket.create_server(("127.0.0.1", 0), backlog=64)
    listening.settimeout(0.1)

    def accept() -> None:
        while not line.stopped.is_set():
            with suppress(OSError):
                client, _ = listening.accept()
                threading.Thread(target=line.serve, args=(client,), daemon=True).start()

    thread = threading.Thread(target=accept, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        line.stopped.set()
        thread.join()
        listening.close()
