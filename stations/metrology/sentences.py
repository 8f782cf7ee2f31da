"""The sentence for a refusal or a flag, rendered from its facts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache

from stations.metrology.boiling import BY_WEATHER
from stations.metrology.formula import ParameterRule
from stations.metrology.translation import Flag, Notice, Reason, Refusal

HAZARD = (
    "Inside the group the water stays liquid under pressure, but at the open screen it flashes "
    "into steam, and a reading at an open group can't show this temperature."
)
# Below boiling nothing flashes: what there is to say is how small the margin is.
WEATHER = f"weather moves the boiling point by some {BY_WEATHER} °C"
MAY_BOIL = (
    f"It does not boil on an ordinary day, but {WEATHER}: on a day of low pressure it may, and an "
    "open group then shows less than the water is set to."
)
CLOSE = f"It does not boil: {WEATHER}, less than that."
Given = Mapping[str, str]


@lru_cache(maxsize=16_384)
def sentence(fact: Refusal | Flag, rule: ParameterRule) -> str:
    """Return why somebody should care, in words; ``rule`` is that of the fact's parameter.

    Raises KeyError for a kind that metrology doesn't give.
    """
    words = FLAGS if isinstance(fact, Flag) else REFUSALS
    return words[fact.kind](dict(fact.given), rule)


def wanted(given: Given, rule: ParameterRule) -> str:
    """Return the target with its tolerance: "brew pressure 9 bar ±0.2 bar"."""
    target = with_unit(_number(given, "target"), rule.unit)
    limits = tolerance(_maybe(given, "below"), _maybe(given, "above"), rule.unit)
    return f"{rule.label} {target} {limits}" if limits != rule.unit else f"{rule.label} {target}"


def _missing(_given: Given, rule: ParameterRule) -> str:
    return f"{rule.label} is not something this machine can set"


def _out_of_range(given: Given, rule: ParameterRule) -> str:
    target, value = _number(given, "target"), _number(given, "setting")
    low, high = _number(given, "minimum"), _number(given, "maximum")
    unit = rule.rule.machine_unit or rule.unit
    here = "" if value == target and unit == rule.unit else f" needs {with_unit(value, unit)} here,"
    verb, side = "" if here else " is", "above" if value > high else "below"
    return (
        f"{rule.label} {with_unit(target, rule.unit)}{here}{verb} "
        f"{side} what this machine can set ({between(low, high, unit)})"
    )


def _too_coarse(given: Given, rule: ParameterRule) -> str:
    value = _number(given, "setting")
    counted = rule.rule.machine_unit
    if counted:
        off = with_unit(_number(given, "deviation"), rule.unit)
        nearest = f"the nearest count, {with_unit(value, counted)}, is off by {off}"
    else:
        steps = with_unit(_number(given, "resolution"), rule.unit)
        nearest = f"the nearest setting is {with_unit(value, rule.unit)} (steps of {steps})"
    return f"{wanted(given, rule)} can't be held here: {nearest}"


def _too_uncertain(given: Given, rule: ParameterRule) -> str:
    off, expanded = (with_unit(_number(given, n), rule.unit) for n in ("deviation", "expanded"))
    return (
        f"{wanted(given, rule)} can't be held with this station's calibration: rounding puts "
        f"it off by {off}, and it is uncertain by ±{expanded} (k = 2)"
    )


def _no_calibration(given: Given, rule: ParameterRule) -> str:
    return (
        f"{wanted(given, rule)} can't be set in pulses: this station has no accepted "
        "flow-meter calibration"
    )


def _not_stated(given: Given, rule: ParameterRule) -> str:
    return f"{wanted(given, rule)} is a share of a volume that this recipe doesn't state"


def _ends_by(given: Given, _rule: ParameterRule) -> str:
    able = a_list(given["able"].split())
    return f"this machine can't end a shot by {given['word']}; it can by {able}"


def _above_boiling(given: Given, rule: ParameterRule) -> str:
    return f"{_boiling(given, rule)} {HAZARD}"


def _near_boiling(given: Given, rule: ParameterRule) -> str:
    small = _number(given, "margin") <= BY_WEATHER
    return f"{_boiling(given, rule)} {MAY_BOIL if small else CLOSE}"


def _boiling(given: Given, rule: ParameterRule) -> str:
    if "air_pressure" in given:
        where = f"at the site's {with_unit(_number(given, 'air_pressure'), 'hPa')}"
    else:
        where = f"at the site's altitude of {with_unit(_number(given, 'altitude'), 'm')}"
    point, gap = (with_unit(_number(given, n), "°C") for n in ("boiling", "margin"))
    target = with_unit(_number(given, "target"), rule.unit)
    apart = f"{gap} {given['side']}" if _number(given, "margin") else "at"
    return f"{rule.label} {target} is {apart} boiling ({point}) {where}."


def _refused_boiling(given: Given, rule: ParameterRule) -> str:
    return f"{_above_boiling(given, rule)} The owner's policy refuses this."


def _no_offset(_given: Given, rule: ParameterRule) -> str:
    return (
        f"{rule.label} is set as displayed: this station's temperature offset has not been measured"
    )


def _no_altitude(_given: Given, rule: ParameterRule) -> str:
    return f"{rule.label} can't be compared with boiling: the site's altitude is not known"


def _number(given: Given, name: str) -> Decimal:
    return Decimal(given[name])


def _maybe(given: Given, name: str) -> Decimal | None:
    return Decimal(given[name]) if name in given else None


Words = Callable[[Given, ParameterRule], str]
REFUSALS: dict[StrEnum, Words] = {
    Reason.MISSING_ABILITY: _missing,
    Reason.OUT_OF_RANGE: _out_of_range,
    Reason.TOO_COARSE: _too_coarse,
    Reason.TOO_UNCERTAIN: _too_uncertain,
    Reason.NO_CALIBRATION: _no_calibration,
    Reason.NOT_STATED: _not_stated,
    Reason.ENDS_BY: _ends_by,
    Reason.ABOVE_BOILING: _refused_boiling,
}
FLAGS: dict[StrEnum, Words] = {
    Notice.ABOVE_BOILING: _above_boiling,
    Notice.NEAR_BOILING: _near_boiling,
    Notice.OFFSET_NOT_MEASURED: _no_offset,
    Notice.ALTITUDE_UNKNOWN: _no_altitude,
}


# Numbers with their units as a sentence shows them.


def plain(value: Decimal) -> str:
    """Return a decimal without trailing zeros or exponent, thousands separated: 1,120 or 9.5."""
    text = f"{value:,f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def with_unit(value: Decimal, unit: str) -> str:
    """Return the number and its unit: "9.5 bar", "93 °C", "280 pulses", "1 pulse"."""
    if unit == "pulses" and value == 1:
        return "1 pulse"
    return f"{plain(value)} {unit}".rstrip()


def between(low: Decimal, high: Decimal, unit: str) -> str:
    """Return a range with its unit once: "4 to 9 bar"."""
    return f"{plain(low)} to {with_unit(high, unit)}"


def tolerance(below: Decimal | None, above: Decimal | None, unit: str) -> str:
    """Return a tolerance: "±0.2 bar", or "-0.5/+1 °C" where the sides differ."""
    if below == above and below is not None:
        return f"±{with_unit(below, unit)}"
    low = "" if below is None else f"-{plain(below)}"
    high = "" if above is None else f"+{plain(above)}"
    return f"{low}{'/' if low and high else ''}{high} {unit}".rstrip()


def a_list(words: list[str]) -> str:
    """Return words as a list: "volume, mass or time"."""
    if not words:
        return "nothing"
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
