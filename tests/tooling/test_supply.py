"""The bill of materials is whole and valid, and the check would find what it is for."""

import json
from collections.abc import Callable
from functools import cache
from typing import Any

import pytest

from tests.tooling.listing import ROOT
from tests.tooling.supply import build, faults, pins, unlike

PINS = pins((ROOT / "requirements.txt").read_text())


@cache
def bom() -> str:
    return build()


def changed(**of_the_first: Any) -> str:  # noqa: ANN401 - parts of parsed JSON
    bill = json.loads(bom())
    bill["components"][0] |= of_the_first
    return json.dumps(bill)


def test_everything_pinned_is_in_it() -> None:
    assert len(PINS) > 50
    assert all(PINS.values())
    assert list(faults(bom(), PINS)) == []


def test_it_is_the_same_every_time() -> None:
    assert build() == bom()


def test_a_bill_that_breaks_the_schema_is_found() -> None:
    assert "does not fit the schema" in "\n".join(faults(changed(type="a thing"), PINS))


@pytest.mark.parametrize(
    ("bill", "words"),
    [
        (lambda: changed(version="0.0.1"), "is not in the bill"),
        (lambda: changed(version="0.0.1"), "and not pinned"),
        (lambda: changed(externalReferences=[]), "other hashes"),
        (lambda: bom().replace(min(next(iter(PINS.values()))), "0" * 64), "other hashes"),
    ],
)
def test_a_bill_unlike_what_is_pinned_is_found(bill: Callable[[], str], words: str) -> None:
    assert words in "\n".join(unlike(bill(), PINS))
