"""A formula (as in IEC 61512): what a version says about each parameter, read, checked, compared.

Two entries are the same when their numbers are equal: 18.0 and 18.00 make no change. What was
typed is kept digit for digit where a value really changes.
"""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import NamedTuple, Protocol

from audit.errors import Invalid, Problem
from recipes.formula.parameters import PARAMETERS, Parameter
from web.numbers import Bounds
from web.text import printable

PLACES = 6  # digits after the point that are worth keeping
TEXT = 200  # characters


class Entry(NamedTuple):
    """Target and tolerances in the parameter's unit (widths, 0 or more), or a text."""

    target: Decimal | None = None
    below: Decimal | None = None
    above: Decimal | None = None
    text: str = ""


Formula = dict[str, Entry]
Given = Mapping[str, Entry | tuple[Decimal | None, Decimal | None, Decimal | None, str]]


class Row(Protocol):
    """A stored line of a formula or of a proposal."""

    code: str
    target: Decimal | None
    below: Decimal | None
    above: Decimal | None
    text: str


def stored(rows: Iterable[Row]) -> Formula:
    """The formula in the registry's order; parameters the registry no longer knows come last."""
    found = {row.code: Entry(row.target, row.below, row.above, row.text) for row in rows}
    return {code: found[code] for code in [*PARAMETERS, *sorted(found)] if code in found}


def read(values: Given) -> Formula:
    """The checked formula, without empty entries. Raises Invalid with every problem found."""
    problems = [
        Problem(code, code, "one of " + ", ".join(PARAMETERS))
        for code in values
        if code not in PARAMETERS
    ]
    formula: Formula = {}
    for code, parameter in PARAMETERS.items():
        if code in values:
            entry = _trimmed(Entry(*values[code]))
            problems += faults(parameter, entry)
            if entry != Entry():
                formula[code] = entry
    if problems:
        raise Invalid.of(problems)
    return formula


def differing(one: Mapping[str, Entry], other: Mapping[str, Entry]) -> set[str]:
    """Codes of the parameters about which the two say different things."""
    return {code for code in one.keys() | other.keys() if one.get(code) != other.get(code)}


def faults(parameter: Parameter, entry: Entry) -> list[Problem]:
    """What is wrong with one entry by itself."""
    if not parameter.is_number:
        return _text_faults(parameter, entry)
    if entry.text:
        return [Problem(parameter.code, entry.text, f"{allowed(parameter)}, no text")]
    if entry.target is None:
        given = [width for width in (entry.below, entry.above) if width is not None]
        return [Problem(parameter.code, None, f"{allowed(parameter)}")] if given else []
    problems = []
    if not _within(entry.target, target_bounds(parameter)):
        problems.append(Problem(parameter.code, entry.target, allowed(parameter)))
    widths = width_bounds(parameter)
    for side in ("below", "above"):
        width = getattr(entry, side)
        if width is not None and not _within(width, widths):
            problems.append(Problem(f"{parameter.code}_{side}", width, widths.words()))
    return problems


def allowed(parameter: Parameter) -> str:
    """What may be entered, as the end of a sentence."""
    if parameter.choices:
        return "one of " + ", ".join(code for code, _ in parameter.choices)
    if not parameter.is_number:
        return f"one line of text, at most {TEXT} characters"
    return target_bounds(parameter).words()


def target_bounds(parameter: Parameter) -> Bounds:
    """What a target may be."""
    low, high = parameter.minimum, parameter.maximum
    return Bounds(low=low, high=high, places=PLACES, unit=parameter.unit)


def width_bounds(parameter: Parameter) -> Bounds:
    """What a tolerance may be: at most the whole range, beyond which it says nothing."""
    widest = parameter.maximum - parameter.minimum
    return Bounds(low=Decimal(0), high=widest, places=PLACES, unit=parameter.unit)


def _within(number: object, bounds: Bounds) -> bool:
    """As read_number, for callers that bring a Decimal of their own."""
    if not isinstance(number, Decimal) or not number.is_finite():
        return False
    low, high, exponent = bounds.low, bounds.high, number.as_tuple().exponent
    fine = isinstance(exponent, int) and exponent >= -bounds.places
    return fine and low is not None and high is not None and low <= number <= high


def _text_faults(parameter: Parameter, entry: Entry) -> list[Problem]:
    if any(number is not None for number in entry[:3]):
        return [Problem(parameter.code, entry.target, f"{allowed(parameter)}, no number")]
    known = {code for code, _ in parameter.choices}
    good = isinstance(entry.text, str) and len(entry.text) <= TEXT
    good = good and printable(entry.text, lines=False)
    if good and (not entry.text or not known or entry.text in known):
        return []
    return [Problem(parameter.code, entry.text, allowed(parameter))]


def _trimmed(entry: Entry) -> Entry:
    text = entry.text.strip() if isinstance(entry.text, str) else entry.text
    return entry._replace(text=text)
