"""A formula (as in IEC 61512): what a version states about each parameter, read, checked, compared.

One type from form and API to storage, digest, plan and comparison. What two formulas state of a
parameter is the same when the numbers are equal: 18.0 and 18.00 make no change. What was typed is
kept digit for digit where a value really changes.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any, Protocol, Self

from audit.errors import Invalid, Problem
from recipes.formula.parameters import PARAMETERS, Parameter
from stations.metrology.formula import (
    BEVERAGE,
    BY_WATER,
    DOSE,
    ENDS_BY,
    NOTHING_STATED,
    WATER,
    Stated,
)
from web.checks import allowance, outside
from web.numbers import Bounds
from web.text import printable
from web.units import from_other, step_of

PLACES = 6  # digits after the point that are worth keeping
TEXT = 200  # characters


Given = Mapping[str, Stated]
"""What somebody asks for, not checked yet."""


class Row(Protocol):
    """A stored line of a formula or of a proposal."""

    code: str
    target: Decimal | None
    below: Decimal | None
    above: Decimal | None
    text: str


class Formula(Mapping[str, Stated]):
    """What is stated, by parameter code in the registry's order, without empty lines.

    Unchangeable; parameters that the registry no longer knows come last.
    """

    __slots__ = ("_stated",)

    def __init__(self, stated: Mapping[str, Stated] | None = None) -> None:
        given = stated or {}
        order = [*PARAMETERS, *sorted(code for code in given if code not in PARAMETERS)]
        self._stated = {code: given[code] for code in order if given.get(code)}

    @classmethod
    def of_rows(cls, rows: Iterable[Row]) -> Self:
        """A formula as it is stored."""
        return cls({row.code: Stated(row.target, row.below, row.above, row.text) for row in rows})

    @classmethod
    def read(cls, given: Given) -> Self:
        """A checked formula. Raises Invalid with every problem found."""
        problems = [
            Problem(code, code, "one of " + ", ".join(PARAMETERS))
            for code in given
            if code not in PARAMETERS
        ]
        trimmed = {code: _trimmed(given[code]) for code in PARAMETERS if code in given}
        for code, stated in trimmed.items():
            problems += faults(PARAMETERS[code], stated)
        if problems:
            raise Invalid.of(problems)
        return cls(trimmed)

    def __getitem__(self, code: str) -> Stated:
        return self._stated[code]

    def __iter__(self) -> Iterator[str]:
        return iter(self._stated)

    def __len__(self) -> int:
        return len(self._stated)

    def __repr__(self) -> str:
        return f"Formula({self._stated!r})"

    def __or__(self, other: Mapping[str, Stated]) -> "Formula":
        """With other lines in place of some; an empty line takes one away."""
        return Formula({**self._stated, **other})

    def of(self, code: str) -> Stated:
        """What is stated of a parameter; empty where nothing is."""
        return self._stated.get(code, NOTHING_STATED)

    def target(self, code: str) -> Decimal | None:
        """A parameter's target, if it is stated."""
        return self.of(code).target

    @property
    def ends_by(self) -> str:
        """The word for how the shot ends; empty where it isn't stated."""
        return self.of(ENDS_BY).text

    @property
    def leaves_water(self) -> bool:
        """Whether each station gets the water that yields the beverage mass there.

        So it is where the shot ends by water and dose and beverage mass are stated, but no water.
        """
        stated = {code for code in (WATER, DOSE, BEVERAGE) if self.target(code)}
        return self.ends_by == BY_WATER and stated == {DOSE, BEVERAGE}

    def with_targets(self, targets: Mapping[str, Decimal]) -> "Formula":
        """With other targets, each within the tolerance that was stated."""
        return self | {
            code: replace(self.of(code), target=target) for code, target in targets.items()
        }

    def deviating(self, changes: Mapping[str, Decimal | str]) -> "Formula":
        """With other targets or words and every tolerance left open.

        A permit allows exactly the deviation that a tolerance would forbid.
        """
        kept = {code: Stated(one.target, text=one.text) for code, one in self.items()}
        for code, new in changes.items():
            text = self.of(code).text
            kept[code] = Stated(text=new) if isinstance(new, str) else Stated(new, text=text)
        return Formula(kept)

    def differing(self, other: Mapping[str, Stated]) -> set[str]:
        """Codes of the parameters about which the two state different things."""
        return {code for code in self.keys() | other.keys() if self.get(code) != other.get(code)}


def write_rows(rows: Any, before: Formula, after: Formula, **among: int) -> None:  # noqa: ANN401
    """Make stored rows, a related manager, state ``after`` instead of ``before``.

    One statement for what goes, one for what is new or states something else. ``among`` are the
    columns that tell them from other formulas of the same owner.
    """
    gone = before.keys() - after.keys()
    if gone:
        rows.filter(code__in=gone, **among).delete()
    changed = {code: after[code] for code in after if before.get(code) != after[code]}
    if changed:
        owner = {rows.field.name: rows.instance, **among}
        rows.model.objects.bulk_create(
            [rows.model(**owner, code=code, **new.columns) for code, new in changed.items()],
            update_conflicts=True,
            unique_fields=[*owner, "code"],
            update_fields=list(NOTHING_STATED.columns),
        )


# What may be stated of one parameter.


def faults(parameter: Parameter, stated: Stated) -> list[Problem]:
    """What is wrong with one line by itself."""
    if not parameter.is_number:
        return _text_faults(parameter, stated)
    if stated.text:
        return [Problem(parameter.code, stated.text, f"{allowed(parameter)}, no text")]
    if stated.target is None:
        given = [width for width in (stated.below, stated.above) if width is not None]
        return [Problem(parameter.code, None, f"{allowed(parameter)}")] if given else []
    problems = []
    if not _within(stated.target, target_bounds(parameter)):
        problems.append(outside(parameter.code, stated.target, target_bounds(parameter)))
    widths = width_bounds(parameter)
    for side in ("below", "above"):
        width = getattr(stated, side)
        if width is not None and not _within(width, widths):
            problems.append(outside(f"{parameter.code}_{side}", width, widths))
    return problems


def allowed(parameter: Parameter) -> str:
    """What may be entered, as the end of a sentence."""
    if parameter.choices:
        return "one of " + ", ".join(code for code, _ in parameter.choices)
    if not parameter.is_number:
        return f"one line of text, at most {TEXT} characters"
    return allowance(target_bounds(parameter))


def target_bounds(parameter: Parameter) -> Bounds:
    """What a target may be."""
    low, high = parameter.minimum, parameter.maximum
    return Bounds(low=low, high=high, places=PLACES, unit=parameter.unit)


def width_bounds(parameter: Parameter) -> Bounds:
    """What a tolerance may be: at most the whole range, beyond which it says nothing."""
    widest = parameter.maximum - parameter.minimum
    return Bounds(low=Decimal(0), high=widest, places=PLACES, unit=step_of(parameter.unit))


def _within(number: object, bounds: Bounds) -> bool:
    """As read_number, for callers that bring a Decimal of their own."""
    if not isinstance(number, Decimal) or not number.is_finite():
        return False
    low, high, exponent = bounds.low, bounds.high, number.as_tuple().exponent
    fine = isinstance(exponent, int) and exponent >= -bounds.places
    fine = fine or from_other(number, bounds.unit)
    return fine and low is not None and high is not None and low <= number <= high


def _text_faults(parameter: Parameter, stated: Stated) -> list[Problem]:
    if any(number is not None for number in stated.numbers.values()):
        return [Problem(parameter.code, stated.target, f"{allowed(parameter)}, no number")]
    known = {code for code, _ in parameter.choices}
    good = isinstance(stated.text, str) and len(stated.text) <= TEXT
    good = good and printable(stated.text, lines=False)
    if good and (not stated.text or not known or stated.text in known):
        return []
    return [Problem(parameter.code, stated.text, allowed(parameter))]


def _trimmed(stated: Stated) -> Stated:
    return replace(stated, text=stated.text.strip()) if isinstance(stated.text, str) else stated
