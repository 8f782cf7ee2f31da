"""Publications are signed here; who runs them is the test's business."""

from collections.abc import Iterator

import pytest
from kombu import Connection

from tests.bar import Bar
from tests.publishing import quiet
from tests.recipes.kill import worker
from tests.recipes.kill.chain import Chain, analyse, build

__all__ = ["quiet"]


@pytest.fixture
def chain(bar: Bar) -> Chain:
    made = build(bar)
    analyse()
    return made


@pytest.fixture
def link() -> Iterator[Connection]:
    with worker.broker() as made:
        yield made
