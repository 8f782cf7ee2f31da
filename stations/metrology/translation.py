"""The outcome of translating one formula for one station: settings, refusals and flags as facts.

A refusal or a flag is a parameter, a kind and the numbers it rests on. The sentence somebody
reads is rendered from them (`stations.metrology.sentences`), so that a signature binds facts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Any

Params = tuple[tuple[str, str], ...]


class Reason(StrEnum):
    """Why a control setting can't be placed."""

    MISSING_ABILITY = "missing_ability"
    OUT_OF_RANGE = "out_of_range"
    NO_CALIBRATION = "no_calibration"
    TOO_COARSE = "too_coarse"  # the machine's steps alone miss the tolerance
    TOO_UNCERTAIN = "too_uncertain"  # with the calibration's uncertainty they do
    ENDS_BY = "ends_by"
    ABOVE_BOILING = "above_boiling"
    NOT_STATED = "not_stated"


class Notice(StrEnum):
    """What a control setting is flagged for though it can be placed."""

    ABOVE_BOILING = "above_boiling"  # needs a named acknowledgement
    NEAR_BOILING = "near_boiling"  # needs a name where weather may take the margin
    OFFSET_NOT_MEASURED = "offset_not_measured"
    ALTITUDE_UNKNOWN = "altitude_unknown"


@dataclass(frozen=True, slots=True)
class Setting:
    """What one parameter of one slot must be set to, in the unit the machine is set in.

    ``value`` is an exact decimal at the machine's resolution, or the word for ENDS_BY.
    """

    value: Decimal | str
    unit: str


@dataclass(frozen=True, slots=True)
class Refusal:
    """One parameter that can't be placed here: which, why, and the numbers it rests on.

    ``kind`` is a Reason, or a word of whoever judges more than metrology does. ``given`` are
    pairs of a name and an exact decimal or a word; computed numbers are given as they are shown.
    """

    code: str
    kind: StrEnum
    given: Params = ()

    def as_json(self) -> dict[str, Any]:
        """Plain data, as a digest binds it."""
        return {"code": self.code, "kind": self.kind.value, "params": dict(self.given)}


@dataclass(frozen=True, slots=True)
class Flag:
    """One parameter that can be placed but needs somebody's eye: which, why, by what numbers.

    ``needs_acknowledgement``: a named person must accept it before it is placed.
    """

    code: str
    kind: StrEnum
    given: Params = ()
    needs_acknowledgement: bool = False

    def as_json(self) -> dict[str, Any]:
        """Plain data, as a digest binds it."""
        return {"code": self.code, "kind": self.kind.value, "params": dict(self.given)}


def params(**given: Decimal | str | None) -> Params:
    """Return numbers and words as a fact carries them; what is None is left out."""
    return tuple(
        (name, format(value, "f") if isinstance(value, Decimal) else value)
        for name, value in given.items()
        if value is not None
    )


@dataclass(frozen=True, slots=True)
class Translation:
    """Control settings by parameter code, in the formula's order, with refusals and flags.

    A refused parameter has no setting. Only a translation without refusals may be placed
    without a permit.
    """

    settings: Mapping[str, Setting]
    refusals: tuple[Refusal, ...] = ()
    flags: tuple[Flag, ...] = ()

    @property
    def placeable(self) -> bool:
        """Return whether nothing was refused."""
        return not self.refusals
