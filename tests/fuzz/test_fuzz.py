"""Every public function of the computing packages: finite answers, or a field named."""

import dataclasses
import math
from collections.abc import Iterator, Mapping
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stations.metrology.errors import BadValueError
from tests.fuzz.brewing import BREWING, SLOW
from tests.fuzz.exempt import EXEMPT, exempt
from tests.fuzz.metrology import METROLOGY
from tests.fuzz.public import functions
from tests.services import rounds

ROWS = {**METROLOGY, **BREWING}
STRANGE = st.one_of(
    st.floats(),
    st.integers(-(10**20), 10**20),
    st.decimals(),
    st.text(max_size=5),
    st.sampled_from(
        [None, "9,5", "NaN", True, 1e308, -0.0, 5e-324, [], [1.0], b"1", 1j, Decimal(0)]
    ),
)
NEAR = st.one_of(
    st.floats(-10, 200),
    st.integers(0, 30),
    st.decimals("0.0001", "0.5", places=4),
    st.sampled_from([36.0, 0.5, Decimal("0.05"), 18]),
)
VALUE = st.one_of(NEAR, NEAR, STRANGE)


def numbers_in(value: object) -> Iterator[float]:
    """Every number in a result, however deep."""
    if isinstance(value, str | bytes | bool) or value is None:
        return
    if isinstance(value, float | np.floating | Decimal):
        yield float(value)
    elif isinstance(value, np.ndarray):
        yield from (float(each) for each in value.ravel())
    elif isinstance(value, Mapping):
        yield from numbers_in(list(value.values()))
    elif isinstance(value, list | tuple):
        for each in value:
            yield from numbers_in(each)
    elif dataclasses.is_dataclass(value):
        fields = dataclasses.fields(value)
        yield from numbers_in([getattr(value, field.name) for field in fields])


def told(error: BadValueError) -> bool:
    """Whether an error says what it is about, and what would be right."""
    return bool(error.field and error.allowed) and error.field in str(error)


def test_every_public_function_has_a_row_or_a_reason() -> None:
    found = set(functions())
    assert found, "nothing was found: the search is broken"
    assert {name for name in found if not exempt(name)} - ROWS.keys() == set(), "no fuzz row"
    assert ROWS.keys() - found == set(), "rows for what is not there"
    idle = {start for start in EXEMPT if not any(name.startswith(start) for name in found)}
    assert idle == set(), "reasons for what is not there"


@pytest.mark.parametrize("name", sorted(ROWS))
def test_a_finite_answer_or_a_named_field(name: str) -> None:
    @settings(max_examples=rounds(1000, 8 if name in SLOW else 50), database=None)
    @given(st.tuples(VALUE, VALUE, VALUE, VALUE))
    def try_it(values: tuple[object, ...]) -> None:
        fault, result = None, None
        try:
            result = ROWS[name](*values)
        except BadValueError as error:
            fault = error
        assert fault is None or told(fault)
        assert all(math.isfinite(number) for number in numbers_in(result)), result

    try_it()
