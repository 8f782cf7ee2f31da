"""A row for each public function of stations.metrology: how four strange values reach it."""

from collections.abc import Callable, Mapping
from typing import Any

from stations.metrology import (
    advising,
    answering,
    atmosphere,
    budget,
    capability,
    charts,
    equality,
    equivalence,
    flowmeter,
    fluid,
    line,
    numbers,
    offset,
    offset_questions,
    outliers,
    questions,
    run_lengths,
    run_rules,
    self_starting,
    water,
    water_estimates,
    water_units,
)
from stations.metrology.abilities import MachineAbilities, ParameterAbility, StationTraits
from stations.metrology.formula import Stated
from stations.metrology.translate import translate, translate_many
from tests.stations.metrology.bar import PARAMETERS, RULES

Call = Callable[..., object]
BASE = charts.Baseline(36.0, 0.5, 30, 0.5)
MARGIN: dict[str, Any] = {"low_margin": -0.5, "high_margin": 0.5}
STRAIGHT = line.fit_line([1, 2, 3, 4], [4.1, 8.0, 12.2, 15.9])  # type: ignore[arg-type]
FIT = flowmeter.fit_flow_meter(
    [flowmeter.Run(pulses, pulses / 4.1, 20) for pulses in (200, 281, 300)]
)
BUDGET = budget.volume_budget(70, 4, slope_uncertainty=0.01, repeatability=0.3)
SAME = equivalence.equivalence([36.0, 36.4, 36.1], [36.2, 35.9, 36.3], **MARGIN)


def _runs(a: Any, b: Any, c: Any, d: Any) -> list[flowmeter.Run]:  # noqa: ANN401
    run = flowmeter.Run
    return [run(a, b, 20), run(c, d, 20), run(200, 50, a), run(280, 70, 20)]


def _translation(a: Any, b: Any, c: Any, d: Any) -> tuple[Any, ...]:  # noqa: ANN401
    formula = {"water_volume": Stated(a, b, c), "brew_temperature": Stated(d, b, c)}
    ability = ParameterAbility("water_volume", b, c, d)
    machine = MachineAbilities({**PARAMETERS, "water_volume": ability})
    return formula, RULES, machine, StationTraits(a, b, c, d)


def _many(a: Any, b: Any, c: Any, d: Any) -> object:  # noqa: ANN401
    formula, rules, machine, traits = _translation(a, b, c, d)
    return list(translate_many(formula, rules, [(machine, traits)]))


def _langelier(a: Any, b: Any, c: Any, d: Any) -> object:  # noqa: ANN401
    return [
        water.langelier(ph=a, temperature=b, calcium_hardness=c, alkalinity=d, dissolved_solids=c,
                        method=method)
        for method in water.Method
    ]  # fmt: skip


def _pulls(a: Any, b: Any, c: Any, d: Any) -> list[answering.Pull]:  # noqa: ANN401
    pull = answering.Pull
    known = [pull(1, mark, 18.0 + mark / 50, 36.0, 28.0 + 2 * mark) for mark in (0, 1, 2, 1)]
    return [*known, pull(1, a, b, c, d), pull(2, b, 18.0, a, c), pull(2, c, 18.1, 36.0, d)]


def _advised(a: Any, b: Any, c: Any, d: Any) -> object:  # noqa: ANN401
    band = advising.Band(a, b, c)
    knob, time = advising.Knob(c, d), advising.Band(28.0, 26.0, 30.0)
    return [
        advising.advise(advising.Case(_pulls(a, b, c, d), time, None, None, knob)),
        advising.advise(advising.Case(_pulls(d, c, b, a), band, None, band, knob, False)),
    ]


def _answer() -> answering.Answer:
    found = answering.fit_answer(_pulls(1, 18.0, 36.0, 30.5))
    assert found
    return found


ANSWER = _answer()

SHORT: Mapping[str, Mapping[str, Call]] = {
    "advising": {
        "advise": _advised,
        "Band.side": lambda a, b, c, d: advising.Band(a, b, c).side(
            numbers.number("value", d)
        ),
    },
    "answering": {
        "fit_answer": lambda *v: answering.fit_answer(_pulls(*v)),
        "Answer.effect": lambda a, b, *_: ANSWER.effect(a, b),
        "Answer.level": lambda a, b, c, d: ANSWER.level(answering.Pull(1, a, b, c, d)),
    },
    "atmosphere": {
        "geopotential_altitude": lambda a, *_: atmosphere.geopotential_altitude(a),
        "standard_pressure": lambda a, *_: atmosphere.standard_pressure(a),
        "barometer_range": lambda a, *_: atmosphere.barometer_range(a),
        "usual_barometer": lambda a, b, *_: atmosphere.usual_barometer(a, b),
        "site_pressure": lambda a, b, *_: atmosphere.site_pressure(a, b),
        "boiling_point": lambda a, *_: atmosphere.boiling_point(a),
        "local_boiling_point": lambda a, b, *_: atmosphere.local_boiling_point(a, b),
        "boiling_margin": lambda a, b, c, _: atmosphere.boiling_margin(a, b, c),
    },
    "budget": {
        "volume_budget": lambda a, b, c, d: budget.volume_budget(
            a, b, slope_uncertainty=c, repeatability=d, dof=5
        ),
        "VolumeBudget.fits": lambda a, b, *_: BUDGET.fits(a, b),
    },
    "capability": {
        "capability": lambda a, b, c, d: capability.capability([a, b, 36.0], lower=c, upper=d),
        "capability_from": lambda a, b, c, d: capability.capability_from(
            a, b, c, lower=d, upper=40, goal=c, confidence=a
        ),
    },
    "charts": {
        "freeze_baseline": lambda *v: charts.freeze_baseline(v),
        "individuals_chart": lambda *v: charts.individuals_chart(v, BASE),
        "moving_range_chart": lambda *v: charts.moving_range_chart(v, BASE),
        "range_places": lambda *_: charts.range_places(4, [2]),
        "ewma_chart": lambda a, b, c, d: charts.ewma_chart(
            [a, b], BASE, weight=c, width=d, settled=False
        ),
        "cusum_chart": lambda a, b, c, d: charts.cusum_chart(
            [a, b], target=a, allowance=c, decision=d
        ),
    },
    "run_lengths": {
        "average_run_length": lambda a, b, c, d: run_lengths.average_run_length(
            a, allowance=b, shift=c, winsor=d
        ),
        "two_sided": lambda a, b, *_: run_lengths.two_sided(a, b),
        "siegmund": lambda a, b, c, _: run_lengths.siegmund(a, allowance=b, shift=c),
        "decision_for": lambda a, *_: run_lengths.decision_for(a),
    },
    "self_starting": {
        "score": lambda a, b, c, _: self_starting.score(
            self_starting.Reference.of(2), (a, b), c
        ),
        "rank_score": lambda a, b, c, _: self_starting.rank_score([a, b] * 10, c),
    },
    "equivalence": {
        "equivalence": lambda a, b, c, d: equivalence.equivalence(
            [a, b, 36.0], [c, 36.1], low_margin=-1, high_margin=d
        ),
        "ratio_equivalence": lambda a, b, c, d: equivalence.ratio_equivalence(
            [a, b, 36.0], [c, 36.1], low_margin=0.8, high_margin=d
        ),
        "equivalence_from": lambda a, b, c, d: equivalence.equivalence_from(
            equivalence.Sample(c, a, b), equivalence.Sample(7, 1.0, 1.0), low_margin=-1,
            high_margin=d, risk=b,
        ),
        "equivalence_power": lambda a, b, c, d: equivalence.equivalence_power(a, b, c, risk=d),
        "shots_needed": lambda a, b, c, d: equivalence.shots_needed(a, b, power=c, risk=d),
        "Equivalence.interval_at": lambda a, *_: SAME.interval_at(a),
    },
    "equality": {
        "against_target": lambda a, b, c, d: equality.against_target(
            equivalence.Sample(c, a, b), a, below=b, above=d
        ),
        "holm": lambda *v: equality.holm(v),
    },
    "flowmeter": {
        "concerns": lambda *v: flowmeter.concerns(flowmeter.fit_flow_meter(_runs(*v))),
        "fit_flow_meter": lambda a, b, c, d: flowmeter.fit_flow_meter(
            _runs(a, b, c, d), pressure=a, air_temperature=b, relative_uncertainty=c
        ),
        "FlowMeterFit.band": lambda a, *_: FIT.band(a),
    },
    "fluid": {
        "air_density": lambda a, b, c, _: fluid.air_density(a, b, c),
        "volume_of": lambda a, b, c, d: fluid.volume_of(a, b, pressure=c, air_temperature=d),
        "buoyancy_share": lambda a, b, *_: fluid.buoyancy_share(a, b),
        "saturation_temperature": lambda a, *_: fluid.saturation_temperature(a),
        "density": lambda a, b, *_: fluid.density(a, b),
        "viscosity": lambda a, b, *_: fluid.viscosity(a, b),
    },
    "line": {
        "fit_line": lambda a, b, c, d: line.fit_line([a, b, 3], [c, d, 3]),  # type: ignore[arg-type]
        "fit_through_origin": lambda a, b, c, d: line.fit_through_origin(
            [a, b],  # type: ignore[arg-type]
            [c, d],  # type: ignore[arg-type]
        ),
        "StraightLine.at": lambda a, *_: STRAIGHT.at(a),
        "StraightLine.uncertainty_at": lambda a, *_: STRAIGHT.uncertainty_at(a),
        "StraightLine.prediction_uncertainty_at": lambda a, *_: (
            STRAIGHT.prediction_uncertainty_at(a)
        ),
        "StraightLine.factor": lambda a, *_: STRAIGHT.factor(a),
    },
    "numbers": {
        "require_plain": lambda a, *_: numbers.require_plain("a field", a),
        "to_resolution": lambda a, b, *_: numbers.to_resolution(a, b),
        "number": lambda a, *_: numbers.number("a field", a, low=0.0, high=200.0),
        "series": lambda *v: numbers.series("a field", v),
    },
    "offset_questions": {
        "usual_offset": lambda a, *_: offset_questions.usual_offset(a),
        "ask_about_offset_figure": lambda a, b, *_: offset_questions.ask_about_offset_figure(a, b),
        "ask_about_offset": lambda a, b, c, d: offset_questions.ask_about_offset(
            [(1, offset.Reading(a, b)), (2, offset.Reading(93, 92))], c, d
        ),
    },
    "questions": {
        "usual_pulses": lambda a, *_: questions.usual_pulses(a),
        "ask_about_slope": lambda a, b, *_: questions.ask_about_slope(a, b),
        "ask_about_flow": lambda a, b, c, d: questions.ask_about_flow(
            [(1, flowmeter.Run(a, b, c)), (2, flowmeter.Run(288, 70, 19))], d
        ),
    },
    "offset": {
        "measure_offset": lambda a, b, c, d: offset.measure_offset(
            [offset.Reading(a, b), offset.Reading(c, d)], thermometer_uncertainty=a
        )
    },
    "outliers": {
        "most_suspect": lambda a, *_: outliers.most_suspect(STRAIGHT, a),
        "curvature_p_value": lambda a, b, c, d: outliers.curvature_p_value(
            [a, b, 3, 4, 7],  # type: ignore[arg-type]
            [c, d, 3, 5, 6],  # type: ignore[arg-type]
        ),
    },
    "run_rules": {
        "standardised": lambda *v: run_rules.standardised(v, BASE),  # type: ignore[arg-type]
        "find_signals": lambda *v: run_rules.find_signals(
            v,  # type: ignore[arg-type]
            run_rules.NELSON,
        ),
        "masks": lambda a, b, c, d: run_rules.masks([a, b, c], [d]),  # type: ignore[arg-type]
    },
    "translate": {
        "translate_many": _many,
        "translate": lambda *v: translate(*_translation(*v))},
    "water": {
        "compare": lambda a, b, c, d: water.compare(
            water.WaterSample(a, b, c, d, a), water.WaterSample(7, c, d, a, b)
        ),
        "langelier": _langelier,
        "not_compared": lambda a, b, c, d: water.not_compared(
            water.WaterSample(a, b, None, d, a), water.WaterSample(None, c, d, a, b)
        ),
        "carbonate_constants": lambda a, *_: water.carbonate_constants(a),
        "activity_exponent": lambda a, b, *_: water.activity_exponent(a, b),
    },
    "water_estimates": {
        "solids_from_conductivity": lambda a, *_: water_estimates.solids_from_conductivity(a),
        "chloride_to_alkalinity": lambda a, b, *_: water_estimates.chloride_to_alkalinity(a, b),
    },
    "water_units": {
        "hardness": lambda a, b, *_: (
            water_units.hardness(a, "°dH", "mmol/L"), water_units.hardness(1, b)
        ),
        "alkalinity": lambda a, b, *_: (
            water_units.alkalinity(a, "meq/L"), water_units.alkalinity(1, "meq/L", b)
        ),
        "hardness_of": lambda a, b, *_: water_units.hardness_of(a, b),
        "celsius": lambda a, b, *_: (water_units.celsius(a, "K"), water_units.celsius(1, b)),
    },
}  # fmt: skip
METROLOGY = {
    f"metrology.{module}.{name}": call
    for module, rows in SHORT.items()
    for name, call in rows.items()
}
