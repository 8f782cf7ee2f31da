"""A data folder of its own for each test that starts real servers."""

from collections.abc import Iterator

import pytest

from embedded.commands import remove, temporary_folder
from embedded.folder import Folder


@pytest.fixture
def folder(monkeypatch: pytest.MonkeyPatch) -> Iterator[Folder]:
    """A locked, empty data folder; no server is named by the environment."""
    monkeypatch.delenv("DATABASE_URL", raising=False)
    monkeypatch.delenv("REDIS_URL", raising=False)
    with temporary_folder("embedded") as made:
        yield made
        remove(made)
