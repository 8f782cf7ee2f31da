"""Fixtures every test may use: the servers, and the fixed cast of people."""

import os
import shutil
from collections.abc import Iterator

import pytest
from hypothesis import settings

from audit.capture.context import RequestContext, request_context
from tests import services

# Tests share their cores, and a first example may load a slow library: none is held to a time.
settings.register_profile("shared cores", parent=settings(), deadline=None)
settings.load_profile("shared cores")

pytest_plugins = ["tests.cast", "tests.bar", "tests.publishing", "tests.audit.emptying"]


def pytest_configure(config: pytest.Config) -> None:
    """Start or find the servers before anything touches the database."""
    services.start(config)


@pytest.fixture(autouse=True)
def _every_refusal_is_an_entry(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Refusals are counted by person, action and minute over all processes.

    So tests beside each other, or a long race, would count for one another: only the tests about
    that (`tests/audit/capture/test_many_refusals.py`) go by the real numbers.
    """
    if not request.node.nodeid.startswith("tests/audit/capture/test_many_refusals.py"):
        for bound in ("FEW", "MANY"):
            monkeypatch.setattr(f"audit.capture.refusals.{bound}", 10**9)


@pytest.fixture(autouse=True)
def _nothing_is_told_of_another_test() -> Iterator[None]:
    """A command or a task says who asks for the rest of its process: here that is the next test."""
    request_context.set(RequestContext())
    yield
    request_context.set(RequestContext())


@pytest.fixture(scope="session")
def chromium() -> str:
    """The browser's program; without one the test is skipped, in CI it fails."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        if program := shutil.which(name):
            return program
    reason = "no Chromium on this machine (looked for chromium and chromium-browser)"
    if os.environ.get("CI") == "true":
        pytest.fail(reason)
    pytest.skip(reason)
