"""The outcome of translating one formula for one station."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum


class Reason(StrEnum):
    """Why a control setting can't be placed."""

    MISSING_ABILITY = "missing_ability"
    OUT_OF_RANGE = "out_of_range"
    NO_CALIBRATION = "no_calibration"
    CANNOT_HOLD_TOLERANCE = "cannot_hold_tolerance"
    ENDS_BY = "ends_by"
    ABOVE_BOILING = "above_boiling"
    NOT_STATED = "not_stated"


class Notice(StrEnum):
    """What a control setting is flagged for though it can be placed."""

    ABOVE_BOILING = "above_boiling"  # needs a named acknowledgement
    NEAR_BOILING = "near_boiling"  # needs a named acknowledgement
    OFFSET_NOT_MEASURED = "offset_not_measured"
    ALTITUDE_UNKNOWN = "altitude_unknown"


BOILING_NOTICES = frozenset({Notice.ABOVE_BOILING, Notice.NEAR_BOILING})


@dataclass(frozen=True, slots=True)
class Setting:
    """What one parameter of one slot must be set to, in the unit the machine is set in.

    ``value`` is an exact decimal at the machine's resolution, or the word for ENDS_BY.
    """

    value: Decimal | str
    unit: str


@dataclass(frozen=True, slots=True)
class Refusal:
    """One parameter that can't be placed here, and why, as a sentence for people."""

    code: str
    kind: Reason
    reason: str


Outcome = Setting | Refusal


@dataclass(frozen=True, slots=True)
class Flag:
    """One parameter that can be placed but needs somebody's eye, and why."""

    code: str
    kind: Notice
    reason: str

    @property
    def needs_acknowledgement(self) -> bool:
        """Return whether a named person must acknowledge this before it is placed."""
        return self.kind in BOILING_NOTICES


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
