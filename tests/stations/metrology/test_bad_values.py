"""Whatever a formula, an ability or a trait says: a finite setting, or an error that names it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from stations.metrology.abilities import MachineAbilities, ParameterAbility, StationTraits
from stations.metrology.errors import BadValueError
from stations.metrology.formula import Stated
from stations.metrology.translate import translate, translate_many
from tests.stations.metrology.bar import PARAMETERS, RULES

ANYTHING = st.one_of(
    st.floats(),
    st.floats(-10, 200),
    st.integers(-(10**20), 10**20),
    st.decimals(allow_nan=True),
    st.sampled_from([None, "9,5", "NaN", True, 1e308, -0.0, 5e-324]),
)


def check(error: BadValueError) -> None:
    """Assert that an error names its field and says what is allowed."""
    assert error.field
    assert error.allowed
    assert error.field in str(error)
    assert error.allowed in str(error)


@settings(max_examples=300)
@given(st.lists(ANYTHING, min_size=9, max_size=9), st.sampled_from(sorted(PARAMETERS)))
def test_translation_takes_any_decimal_or_names_it(values: list[Any], code: str) -> None:
    try:
        stated = Stated(values[0], values[1], values[2])
        ability = ParameterAbility(code, values[3], values[4], values[5])
        traits = StationTraits(values[6], values[7], values[8], values[1])
        machine = MachineAbilities({code: ability})
        formula = {"water_volume": Stated(Decimal(70)), code: stated}
        found = translate(formula, RULES, machine, traits)
    except BadValueError as error:
        check(error)
        return
    assert [found] == translate_many(formula, RULES, [(machine, traits)])
    for setting in found.settings.values():
        assert isinstance(setting.value, Decimal)
        assert setting.value.is_finite()
