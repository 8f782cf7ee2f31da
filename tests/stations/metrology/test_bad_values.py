"""Whatever is thrown at the formulas: a usable number or a sentence that names the field."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stations.metrology.abilities import MachineAbilities, ParameterAbility, Quantity, StationTraits
from stations.metrology.atmosphere import boiling_margin, boiling_point, site_pressure
from stations.metrology.budget import volume_budget
from stations.metrology.capability import capability_from
from stations.metrology.charts import Baseline, cusum_chart, ewma_chart, freeze_baseline
from stations.metrology.equivalence import Sample, equivalence_from, equivalence_power
from stations.metrology.errors import BadValueError
from stations.metrology.flowmeter import Run, fit_flow_meter
from stations.metrology.fluid import density, viscosity
from stations.metrology.offset import Reading, measure_offset
from stations.metrology.translate import translate, translate_many
from stations.metrology.water import Method, langelier
from stations.metrology.weighing import air_density, volume_of
from tests.stations.metrology.bar import PARAMETERS, RULES

ANYTHING = st.one_of(
    st.floats(),
    st.floats(-10, 200),
    st.integers(-(10**20), 10**20),
    st.decimals(allow_nan=True),
    st.sampled_from([None, "9,5", "NaN", True, 1e308, -0.0, 5e-324]),
)
PLAIN = st.floats(-10, 200) | ANYTHING
BASE = Baseline(36.0, 0.5, 30, 0.5)

CALLS: dict[str, Callable[..., object]] = {
    "site_pressure": lambda a, b, *_: site_pressure(a, b),
    "boiling_point": lambda a, *_: boiling_point(a),
    "boiling_margin": lambda a, b, c, *_: boiling_margin(a, b, c),
    "density": lambda a, b, *_: density(a, b),
    "viscosity": lambda a, b, *_: viscosity(a, b),
    "air_density": lambda a, b, c, *_: air_density(a, b, c),
    "volume_of": lambda a, b, c, d: volume_of(a, b, pressure=c, air_temperature=d),
    "fit_flow_meter": lambda a, b, c, d: fit_flow_meter(
        [Run(a, b, 20), Run(c, d, 20), Run(200, 50, a), Run(280, 70, 20)]
    ),
    "measure_offset": lambda a, b, c, d: measure_offset([Reading(a, b), Reading(c, d)]),
    "volume_budget": lambda a, b, c, d: volume_budget(a, b, slope_uncertainty=c, repeatability=d),
    "baseline": lambda *v: freeze_baseline(v),
    "ewma": lambda a, b, c, d: ewma_chart([a, b], BASE, weight=c, width=d, settled=False),
    "cusum": lambda a, b, c, d: cusum_chart([a, b], target=a, allowance=c, decision=d),
    "capability": lambda a, b, c, d: capability_from(20, a, b, lower=c, upper=d),
    "equivalence": lambda a, b, c, d: equivalence_from(
        Sample(5, a, b), Sample(7, 1.0, 1.0), low_margin=c, high_margin=d
    ),
    "power": lambda a, b, c, d: equivalence_power(a, b, c, risk=d),
    "langelier": lambda a, b, c, d: [
        langelier(
            ph=a,
            temperature=b,
            calcium_hardness=c,
            alkalinity=d,
            dissolved_solids=c,
            method=method,
        )
        for method in Method
    ],
}


def check(error: BadValueError) -> None:
    """Assert that an error names its field and says what is allowed."""
    assert error.field
    assert error.allowed
    assert error.field in str(error)
    assert error.allowed in str(error)


def numbers_in(value: object) -> list[float]:
    """Return every float in a result, however deep."""
    if isinstance(value, float):
        return [value]
    if isinstance(value, np.ndarray):
        return [float(v) for v in value.ravel()]
    if isinstance(value, list | tuple):
        return [found for one in value for found in numbers_in(one)]
    if dataclasses.is_dataclass(value):
        return numbers_in([getattr(value, field.name) for field in dataclasses.fields(value)])
    return []


@pytest.mark.parametrize("name", sorted(CALLS))
@settings(max_examples=150)
@given(st.tuples(PLAIN, PLAIN, PLAIN, PLAIN))
def test_a_finite_answer_or_a_named_field(name: str, given_values: tuple[object, ...]) -> None:
    try:
        result = CALLS[name](*given_values)
    except BadValueError as error:
        check(error)
        return
    assert all(math.isfinite(value) for value in numbers_in(result)), result


@settings(max_examples=300)
@given(st.lists(ANYTHING, min_size=9, max_size=9), st.sampled_from(sorted(PARAMETERS)))
def test_translation_takes_any_decimal_or_names_it(values: list[Any], code: str) -> None:
    try:
        quantity = Quantity(code, values[0], values[1], values[2])
        ability = ParameterAbility(code, values[3], values[4], values[5])
        traits = StationTraits(values[6], values[7], values[8], values[1])
        machine = MachineAbilities({code: ability})
        volume = Quantity("water_volume", Decimal(70))
        formula = [quantity] if code == "water_volume" else [volume, quantity]
        found = translate(formula, RULES, machine, traits)
    except BadValueError as error:
        check(error)
        return
    assert [found] == translate_many(formula, RULES, [(machine, traits)])
    for setting in found.settings.values():
        assert isinstance(setting.value, Decimal)
        assert setting.value.is_finite()
