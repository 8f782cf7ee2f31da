"""Run rules against our hand-checkable cases and a plain loop written from the definitions."""

from __future__ import annotations

import json
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from stations.metrology.numbers import Floats
from stations.metrology.run_rules import NELSON, WESTERN_ELECTRIC, RunRule, find_signals
from tests.references.metrology_data import DATA

CASES: dict[str, dict[str, Any]] = json.loads((DATA / "run_rule_cases.json").read_text())["cases"]


def loop(z: list[float], rule: str, at: int) -> bool:
    """Return whether the rule is met at a position (from 0), straight from its definition.

    Nelson 1984, J. Qual. Technol. 16:237-239, and Western Electric 1956, as two public code
    documentations cite them; the originals were not opened.
    """

    def last(count: int) -> list[float]:
        return z[at - count + 1 : at + 1] if at + 1 >= count else []

    def side(count: int, needed: int, limit: float) -> bool:
        window = z[max(0, at - count + 1) : at + 1]
        return any(
            sign * z[at] > limit and sum(sign * v > limit for v in window) >= needed
            for sign in (1, -1)
        )

    steps = [b - a for a, b in pairwise(last(6))]
    turns = [b - a for a, b in pairwise(last(14))]
    met = {
        "1": abs(z[at]) > 3,
        "W2": side(3, 2, 2.0),
        "W3": side(5, 4, 1.0),
        "W4": side(8, 8, 0.0),
        "N2": side(9, 9, 0.0),
        "N3": bool(steps) and (all(s > 0 for s in steps) or all(s < 0 for s in steps)),
        "N4": bool(turns) and all(a * b < 0 for a, b in pairwise(turns)),
        "N7": bool(last(15)) and all(abs(v) < 1 for v in last(15)),
        "N8": bool(last(8))
        and all(abs(v) > 1 for v in last(8))
        and min(last(8)) < 0 < max(last(8)),
    }
    same = {"W1": "1", "N1": "1", "N5": "W2", "N6": "W3"}
    return met[same.get(rule, rule)]


@pytest.mark.parametrize("name", sorted(CASES))
def test_case(name: str) -> None:
    z = np.array(CASES[name]["z"], dtype=float)
    expected = {
        (rule, position) for rules, position in CASES[name]["flags"] for rule in rules.split("/")
    }
    found = {(signal.rule.value, signal.position) for signal in find_signals(z, list(RunRule))}
    assert found == expected


def test_all_fourteen_cases_are_there() -> None:
    assert len(CASES) == 14


@given(
    hnp.arrays(
        float,
        st.integers(1, 60),
        # A coarse grid, so that ties and points on a limit are common.
        elements=st.integers(-7, 7).map(lambda v: v / 2),
    )
)
def test_rules_equal_a_plain_loop(z: Floats) -> None:
    found = {(signal.rule.value, signal.position) for signal in find_signals(z, list(RunRule))}
    points = z.tolist()
    expected = {
        (rule.value, at + 1)
        for rule in RunRule
        for at in range(len(points))
        if loop(points, rule.value, at)
    }
    assert found == expected


@given(st.integers(0, 1000), st.sampled_from([*WESTERN_ELECTRIC, *NELSON]))
def test_rules_see_no_difference_between_up_and_down(seed: int, rule: RunRule) -> None:
    z = np.random.default_rng(seed).normal(0, 1.5, 80)
    assert find_signals(z, [rule]) == find_signals(-z, [rule])
