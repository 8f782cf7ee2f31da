"""What a slot may be set to at all: the gateway's own hard limits, whatever it is told.

Source: as the registry of Portaledger (`recipes/formula/parameters.py`), whose ranges are common
practice for espresso, no source. A test holds both tables together; this one is written out because
a box at a bar shall not need the other to refuse.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

PULSE = "{pulse}"
ENDS_BY = "ends_by"
ENDINGS = ("operator", "volume", "mass", "time")


@dataclass(frozen=True)
class Amount:
    """A value as it travels: an exact decimal with its UCUM unit, or a word without one."""

    value: str
    unit: str = ""

    @property
    def number(self) -> Decimal | None:
        """The value as a number; None where it is a word, or no finite number."""
        try:
            number = Decimal(self.value)
        except InvalidOperation:
            return None
        return number if number.is_finite() else None

    def equals(self, other: "Amount") -> bool:
        """Whether both say the same: 93.0 is 93, and a unit matters."""
        if self.unit != other.unit:
            return False
        if self.number is None or other.number is None:
            return self.value == other.value
        return self.number == other.number


Settings = Mapping[str, Amount]


@dataclass(frozen=True)
class Range:
    """From ``low`` to ``high``, both allowed, in ``unit`` (UCUM)."""

    low: Decimal
    high: Decimal
    unit: str

    def __contains__(self, amount: Amount) -> bool:
        number = amount.number
        return amount.unit == self.unit and number is not None and self.low <= number <= self.high

    def __str__(self) -> str:
        return f"{self.low} to {self.high} {self.unit}"


def _range(low: str, high: str, unit: str) -> Range:
    return Range(Decimal(low), Decimal(high), unit)


RANGES: Mapping[str, Range] = {
    "beverage_mass": _range("5", "400", "g"),
    "shot_time": _range("5", "180", "s"),
    "water_volume": _range("1", "20000", PULSE),
    "brew_temperature": _range("80", "100", "Cel"),
    "preinfusion_time": _range("0", "60", "s"),
    "preinfusion_pressure": _range("0", "6", "bar"),
    "rise_time": _range("0", "30", "s"),
    "intermediate_pressure": _range("0", "12", "bar"),
    "brew_pressure": _range("1", "12", "bar"),
    "taper_start": _range("1", "20000", PULSE),
    "taper_pressure": _range("0", "12", "bar"),
}
CODES = (*RANGES, ENDS_BY)


def outside(settings: Settings, ranges: Mapping[str, Range] = RANGES) -> Iterator[str]:
    """A sentence for each setting that these ranges do not allow, or that they do not know."""
    for code, amount in settings.items():
        if code == ENDS_BY:
            if amount.value not in ENDINGS or amount.unit:
                yield f"{code} is {amount.value}; allowed: {', '.join(ENDINGS)}"
        elif code not in ranges:
            yield f"{code} is no setting of a slot; allowed: {', '.join(CODES)}"
        elif amount not in ranges[code]:
            yield f"{code} is {amount.value} {amount.unit}; allowed: {ranges[code]}"


def differences(wanted: Settings, found: Settings) -> Iterator[str]:
    """A sentence for each wanted setting that was found otherwise, or not at all."""
    for code, amount in wanted.items():
        held = found.get(code)
        if held is None:
            yield f"{code} should be {amount.value} {amount.unit}, and there is none".rstrip()
        elif not amount.equals(held):
            yield f"{code} should be {amount.value}, and is {held.value} {held.unit}".rstrip()
