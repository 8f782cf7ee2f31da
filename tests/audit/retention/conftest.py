"""A history of our own, and its key in a folder of the test."""

from collections.abc import Iterator

import pytest

from tests.audit.retention.months import one_again
from tests.audit.sealing.conftest import key_file, only_ours

__all__ = ["key_file", "only_ours"]


@pytest.fixture
def one_partition(transactional_db: None, sample_tables: None) -> Iterator[None]:
    """For tests that commit: what they did to the partitions is undone."""
    yield
    one_again()
