"""A row for each public function of recipes.brewing: how four strange values reach it."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np

from recipes.brewing import (
    acceptance,
    balance,
    errors,
    extraction,
    plan_check,
    pressure_plan,
    ratio,
    rest,
    sequential,
    similarity,
    taste,
    telling,
    worse,
)
from recipes.brewing import serving as sessions
from recipes.brewing.shot_model import fit, parameters, predict, puck, simulate
from tests.recipes.brewing.shots import DOUBLE, ORDINARY

Call = Callable[..., object]
TRIANGLE = taste.Method.TRIANGLE
LEARNT = balance.Retention(1.0, 0.9, 1.1, 0.1, used=12)
FITTED = fit.Fit(("grind",), np.array([14.0]), np.array([[0.01]]), 5, 1.0)
YIELD = extraction.extraction_yield(
    extraction.Measured(18.0, 0.1), extraction.Measured(36.0, 0.1), extraction.Measured(9.8, 0.05)
)
PULLED = [fit.Pulled(DOUBLE, time=27.0, beverage=36.0), fit.Pulled(DOUBLE, time=28.0)]


def _plan(a: Any, b: Any, c: Any, d: Any) -> pressure_plan.PressurePlan:  # noqa: ANN401
    return replace(ORDINARY, brew_pressure=a, preinfusion_time=b, taper_start=c, rise_time=d)


def _setup(a: Any, b: Any, c: Any, d: Any) -> parameters.Setup:  # noqa: ANN401
    ending = parameters.Ending(parameters.EndsBy.MASS, a)
    grounds = replace(DOUBLE.puck, dose=b, grind=c)
    return replace(DOUBLE, ending=ending, puck=grounds, water=d)


def _shots(a: Any, b: Any, c: Any, d: Any) -> list[fit.Pulled]:  # noqa: ANN401
    return [*PULLED, fit.Pulled(replace(DOUBLE, water=d), time=a, beverage=b, tds=c)]


WALD = sequential.SequentialTest(Decimal("0.95"), Decimal("0.8"), Decimal("0.05"), Decimal("0.1"))
LINES = sequential.decision_lines(WALD)


def _count(value: Any) -> int:  # noqa: ANN401
    return errors.whole("shots", value, least=0, most=20_000)  # as whoever counts shots has it


SHORT: Mapping[str, Mapping[str, Call]] = {
    "acceptance": {
        "expected_count": lambda a, b, c, _: acceptance.expected_count(
            acceptance.CountTest(a, b), c
        ),
        "judge_count": lambda a, b, *_: acceptance.judge_count(acceptance.CountTest(a, b), [True]),
    },
    "balance": {
        "retained_ratio": lambda a, b, c, d: balance.retained_ratio(balance.Shot(a, b, c), d),
        "parts": lambda a, b, c, d: balance.parts(balance.Shot(a, b, c), d),
        "learn_retention": lambda a, b, c, d: balance.learn_retention(
            [balance.Shot(18.0, 55.0 + at, 36.0) for at in range(5)] + [balance.Shot(a, b, c)],
            confidence=d,
        ),
        "forecast_beverage": lambda a, b, c, d: balance.forecast_beverage(
            LEARNT, dose=a, water=b, water_u=c, confidence=d
        ),
        "water_for": lambda a, b, c, _: balance.water_for(LEARNT, dose=a, beverage=b, density=c),
    },
    "errors": {
        "exact": lambda a, *_: errors.exact("a field", a, least=Decimal(0), most=Decimal(200)),
        "real": lambda a, *_: errors.real("a field", a, least=0.0, most=200.0),
        "whole": lambda a, *_: errors.whole("a field", a, least=0, most=200),
    },
    "extraction": {
        "extraction_yield": lambda a, b, c, d: extraction.extraction_yield(
            extraction.Measured(a, d), extraction.Measured(b, d), extraction.Measured(c)
        ),
        "dry_basis": lambda a, b, *_: extraction.dry_basis(a, b),
        "Yield.expanded": lambda a, *_: YIELD.expanded(a),
    },
    "plan_check": {"check_plan": lambda *v: plan_check.check_plan(_plan(*v))},
    "pressure_plan": {
        "pieces": lambda *v: pressure_plan.pieces(_plan(*v)),
        "pressure": lambda a, b, *_: pressure_plan.pressure(ORDINARY, a, b),
    },
    "ratio": {
        "brew_ratio": lambda a, b, c, _: ratio.brew_ratio(a, b, places=c),
        "printed_ratio": lambda a, *_: ratio.printed_ratio(a),
        "extraction_yield": lambda a, b, c, _: ratio.extraction_yield(a, b, c),
        "half_up": lambda a, *_: ratio.half_up(Fraction(1, 3), a),
    },
    "rest": {
        "days_off_roast": lambda a, *_: rest.days_off_roast(date(2026, 1, 1), a),
        "check_rest": lambda a, b, c, _: rest.check_rest(a, b, c),
    },
    "sequential": {
        "decision_lines": lambda *v: sequential.decision_lines(sequential.SequentialTest(*v)),
        "judge_sequence": lambda *v: sequential.judge_sequence(
            sequential.SequentialTest(*v), [True]
        ),
        "Lines.most_to_pass": lambda a, *_: LINES.most_to_pass(_count(a)),
        "Lines.least_to_fail": lambda a, *_: LINES.least_to_fail(_count(a)),
        "wald_average": lambda *v: sequential.wald_average(
            sequential.SequentialTest(*v), well=True
        ),
        "expected": lambda a, *_: sequential.expected(WALD, a),
    },
    "serving": {
        "servings": lambda a, b, *_: sessions.servings(taste.Method.TRIANGLE, a, b),
    },
    "shot_model.fit": {
        "fit_shots": lambda *v: fit.fit_shots(_shots(*v), free=["grind"]),
        "tellable": lambda *v: fit.tellable(_shots(*v), among=["grind"]),
    },
    "shot_model.parameters": {"ranges_of": lambda a, *_: parameters.ranges_of(a)},
    "shot_model.predict": {
        "predict": lambda a, b, c, d: predict.predict(
            FITTED, DOUBLE, replace(DOUBLE, puck=replace(DOUBLE.puck, dose=b)), coarser=a
        ),
        "predict_courses": lambda a, b, *_: predict.predict_courses(
            FITTED, DOUBLE, replace(DOUBLE, puck=replace(DOUBLE.puck, dose=b)), coarser=a
        ),
    },
    "shot_model.puck": {
        "permeability": lambda a, b, *_: puck.permeability(a, b),
        "darcy_flow": lambda a, b, c, d: puck.darcy_flow(a, b, c, d, 0.02),
    },
    "shot_model.simulate": {
        "simulate": lambda a, b, c, d: simulate.simulate(_setup(a, b, c, d), step=a)
    },
    "taste": {
        "p_value": lambda a, b, *_: taste.p_value(taste.Method.TRIANGLE, a, b),
        "critical_count": lambda a, b, *_: taste.critical_count(taste.Method.DUO_TRIO, a, b),
        "power": lambda a, b, c, _: taste.power(taste.Method.PAIRED_TWO_SIDED, a, b, c),
        "panel_size": lambda a, b, c, _: taste.panel_size(taste.Method.TRIANGLE, a, b, c, most=20),
        "smallest_panel": lambda a, b, *_: taste.smallest_panel(lambda n: n / 20, a, b),
        "checked_assessments": lambda a, *_: taste.checked_assessments(a),
        "checked_risk": lambda a, *_: taste.checked_risk(a),
    },
    "similarity": {
        "similarity_p_value": lambda a, b, c, _: similarity.similarity_p_value(TRIANGLE, a, b, c),
        "most_correct": lambda a, b, c, _: similarity.most_correct(TRIANGLE, a, b, c),
        "similarity_power": lambda a, b, c, _: similarity.similarity_power(TRIANGLE, a, b, c),
        "similarity_panel": lambda a, b, c, d: similarity.similarity_panel(
            TRIANGLE, a, b, c, most=d
        ),
    },
    "telling": {
        "share_of_answers": lambda a, b, c, _: telling.share_of_answers(a, b, c),
        "share_of_tasters": lambda a, b, c, _: telling.share_of_tasters(TRIANGLE, a, b, c),
        "sensory_distance": lambda a, b, c, _: telling.sensory_distance(TRIANGLE, a, b, c),
        "correct_at": lambda a, *_: telling.correct_at(TRIANGLE, a),
    },
    "worse": {
        "worse_p_value": lambda a, b, c, d: worse.worse_p_value(
            worse.Shots(a, b), worse.Shots(c, d)
        ),
        "could_tell": lambda a, b, c, d: worse.could_tell(worse.Shots(a, b), c, d),
        "chance_to_hold": worse.chance_to_hold,
    },
}
SLOW = {
    "brewing.shot_model.fit.fit_shots", "brewing.shot_model.fit.tellable",
    "brewing.shot_model.predict.predict", "brewing.shot_model.predict.predict_courses",
    "brewing.shot_model.simulate.simulate",
}  # fmt: skip
BREWING = {
    f"brewing.{module}.{name}": call
    for module, rows in SHORT.items()
    for name, call in rows.items()
}
