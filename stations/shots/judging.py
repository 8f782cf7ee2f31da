"""What a check shot is held against, and how it compares."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from stations.metrology.formula import BEVERAGE, DOSE, SHOT_TIME
from stations.shots.models import CheckShot, ShotVerdict
from stations.slots.models import Placement
from web.numbers import Bounds

# Hard limits of what anybody may type; common practice with room on both sides, no source.
BOUNDS = {
    DOSE: Bounds(Decimal("0.1"), Decimal(100), places=2, unit="g"),
    BEVERAGE: Bounds(Decimal("0.1"), Decimal(1000), places=2, unit="g"),
    SHOT_TIME: Bounds(Decimal("0.1"), Decimal(600), places=2, unit="s"),
    "strength": Bounds(Decimal(0), Decimal(30), places=2, unit="%"),
}
LABELS = {
    DOSE: "Dose",
    BEVERAGE: "Yield",
    SHOT_TIME: "Shot time",
    "strength": "TDS",
}
SAID = ("grind_setting", "taste", "body")  # beside what is weighed and timed
Cup = Mapping[str, Mapping[str, str]]


@dataclass(frozen=True, slots=True)
class Weighed:
    """What somebody measured: g in, g out, s; dissolved solids in %, where they were.

    With the grinder's mark, and how the cup tasted, where that was said.
    """

    dose_mass: Decimal
    beverage_mass: Decimal
    shot_time: Decimal
    strength: Decimal | None = None
    note: str = ""
    left_out: bool = False
    grind_setting: Decimal | None = None
    taste: str | None = None
    body: str | None = None

    def value(self, code: str) -> Decimal | None:
        """One measured value by its code."""
        found: Decimal | None = getattr(self, code)
        return found


@dataclass(frozen=True, slots=True)
class ShotLine:
    """One measured value beside what it is held against; ``verdict`` empty without a target."""

    code: str
    label: str
    unit: str
    value: Decimal | None
    target: Decimal | None
    below: Decimal | None
    above: Decimal | None
    verdict: str


def judge(cup: Cup, shot: Weighed) -> dict[str, str]:
    """The verdict on each measured value that has a target: within, low, high or open.

    Limits are included: a dose of 18.2 g is within 18.0 g +0.2 g, compared as exact decimals.
    """
    return {
        code: _verdict(cup[code], value)
        for code in BOUNDS
        if code in cup and (value := shot.value(code)) is not None
    }


def _verdict(held: Mapping[str, str], value: Decimal) -> str:
    target, below, above = (_decimal(held, name) for name in ("target", "below", "above"))
    if target is None or (below is None and above is None):
        return "open"
    if below is not None and value < target - below:
        return "low"
    return "high" if above is not None and value > target + above else "within"


def overall(verdicts: Mapping[str, str]) -> ShotVerdict:
    """One word for the shot."""
    found = set(verdicts.values())
    if found & {"low", "high"}:
        return ShotVerdict.OUTSIDE
    return ShotVerdict.WITHIN if "within" in found else ShotVerdict.OPEN


def cup_of(placement: Placement) -> Cup:
    """What a shot under this placement is held against; nothing where it was set by hand."""
    return placement.settings.cup or {}


def target_lines(cup: Cup) -> list[ShotLine]:
    """What a shot will be held against, before it is pulled."""
    return [_line(cup, code, None, "") for code in LABELS if code in cup]


def lines_of(shot: CheckShot) -> list[ShotLine]:
    """A shot value by value, for pages and the API."""
    cup = cup_of(shot.placement)
    return [
        _line(cup, code, value, shot.verdicts.get(code, ""))
        for code in LABELS
        if (value := getattr(shot, code)) is not None
    ]


def _line(cup: Cup, code: str, value: Decimal | None, verdict: str) -> ShotLine:
    target, below, above = (
        _decimal(cup.get(code, {}), name) for name in ("target", "below", "above")
    )
    return ShotLine(code, LABELS[code], BOUNDS[code].unit, value, target, below, above, verdict)


def _decimal(held: Mapping[str, str], name: str) -> Decimal | None:
    text = held.get(name)
    return None if text is None else Decimal(text)
