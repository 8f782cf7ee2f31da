"""The broker is frozen: people sign in and sign as ever, and nobody waits long to ask for work."""

import os
import subprocess
import sys

import requests

from embedded.folder import BASE_DIR
from tests.embedded.outages.running import Running

SENDING = """
from kombu.exceptions import OperationalError
from recipes.publishing.run import start
try:
    start(1)
except OperationalError:
    print("not sent")
"""


def test_people_sign_in_and_guesses_are_counted(running: Running) -> None:
    with running.frozen("broker"):
        assert "broker" in running.get("/healthz").text
        browser = requests.Session()
        assert running.sign_in(browser).url == f"{running.address}/"
        assert running.get("/", browser).status_code == 200
        guessing = requests.Session()
        for _ in range(5):
            assert "Too many" not in running.sign_in(guessing, "wrong", "guessed@example.com").text
        assert "Too many" in running.sign_in(guessing, "wrong", "guessed@example.com").text
    running.wait_until_well()


def test_asking_for_work_gives_up_soon(running: Running) -> None:
    """By the program's own address of the broker, in a process of its own."""
    with running.frozen("broker"):
        done = subprocess.run(
            [sys.executable, str(BASE_DIR / "manage.py"), "shell", "-c", SENDING],
            env={**os.environ, **running.stack.env},
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
    assert done.stdout.splitlines()[-1:] == ["not sent"], done.stderr
