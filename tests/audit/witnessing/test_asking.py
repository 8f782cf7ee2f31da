"""One request to a witness: bounded in time, and to that witness alone."""

import socket
import threading

import pytest

from audit.witnessing import asking


def test_a_witness_that_drips_its_answer_holds_nobody_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(asking, "SECONDS", 0.5)
    listening = socket.create_server(("127.0.0.1", 0))

    def drip() -> None:
        line, _ = listening.accept()
        line.sendall(b"HTTP/1.1 200 OK\r\n")
        try:
            while True:
                line.sendall(b"X")
                threading.Event().wait(0.1)
        except OSError:
            return

    threading.Thread(target=drip, daemon=True).start()
    with pytest.raises(asking.SilentError):
        asking.ask(f"http://127.0.0.1:{listening.getsockname()[1]}", b"")
    listening.close()


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_is_not_followed(status: int) -> None:
    """It says where to go on to, and nobody comes there."""
    elsewhere = socket.create_server(("127.0.0.1", 0))
    elsewhere.settimeout(0.3)
    there = f"http://127.0.0.1:{elsewhere.getsockname()[1]}/add-checkpoint"
    listening = socket.create_server(("127.0.0.1", 0))
    sent = f"HTTP/1.1 {status} Moved\r\nLocation: {there}\r\nContent-Length: 0\r\n\r\n"

    def lead_on() -> None:
        line, _ = listening.accept()
        line.recv(65_536)
        line.sendall(sent.encode())
        line.close()

    threading.Thread(target=lead_on, daemon=True).start()
    answer = asking.ask(f"http://127.0.0.1:{listening.getsockname()[1]}", b"")
    assert answer.status == status
    with pytest.raises(TimeoutError):
        elsewhere.accept()
    listening.close()
    elsewhere.close()
