"""Loopback ports: a free one, or the one asked for."""

import socket

from embedded.sentences import CannotRunError

HOST = "127.0.0.1"


def free_port() -> int:
    """A port nobody listens on at this moment."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port: int = probe.getsockname()[1]
        return port


def require_free(port: int) -> None:
    """Raise CannotRunError, naming the port and the way out, when somebody listens there."""
    with socket.socket() as probe:
        # As the web server will: a port that only waits out closed connections is free.
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            raise CannotRunError(
                f"Port {port} on {HOST} is in use by another program: "
                f"choose a free one, for example `make demo PORT={port + 1}`."
            ) from None
