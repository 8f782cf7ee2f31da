"""A history of our own, and its key in a folder of the test."""

from collections.abc import Iterator

import pytest

from audit.retention import partitions
from tests.audit.retention.months import one_again
from tests.audit.sealing.conftest import key_file, only_ours

__all__ = ["key_file", "only_ours"]


@pytest.fixture(autouse=True)
def unremembered(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a test's partitions begin is not remembered beyond it."""
    monkeypatch.setattr(partitions, "_bounds", partitions._Bounds())


@pytest.fixture
def one_partition(transactional_db: None, sample_tables: None) -> Iterator[None]:
    """For tests that commit: what they did to the partitions is undone."""
    yield
    one_again()
