"""One page of the sweep over forms, and what its table is written with."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from tests.bad_input.things import Things

Sent = Mapping[str, str | list[str]]
Values = Mapping[str, Sequence[str | list[str]]]
FOREIGN: Sequence[str] = ("0", "-1", "1000000000", str(2**63), "9" * 30, "9" * 5000, "x", "")


@dataclass(frozen=True)
class Form:
    """One page with a form. Its thing is the world's, unless `pk` says otherwise."""

    name: str
    who: str
    sent: Callable[[Things], Sent]
    thing: str = ""
    pk: Callable[[Things], int] | None = None
    query: Callable[[Things], str] = lambda t: ""
    also: Values = field(default_factory=dict)  # further bad values, by field
    fine: Values = field(default_factory=dict)  # values of a bad kind that are allowed there
    empty: bool = False  # whether nothing at all may be sent
    good: int = 302  # what a good form is answered with


def pk_of(thing: str) -> Callable[[Things], str]:
    """A thing's id as a form sends it."""
    return lambda t: str(t.pk(thing))


STALE = ["0", "999", "2000000001", ""]
REASON: Values = {"reason": ["", " "]}
FORMULA = {
    "dose_mass": "18.0", "dose_mass_below": "0.1", "dose_mass_above": "0.1",
    "beverage_mass": "36.0", "beverage_mass_below": "2", "beverage_mass_above": "2",
    "shot_time": "28", "shot_time_below": "3", "shot_time_above": "3",
    "water_volume": "70", "water_volume_below": "2", "water_volume_above": "2",
    "brew_temperature": "92.5", "brew_temperature_below": "0.5", "brew_temperature_above": "0.5",
    "preinfusion_time": "6", "preinfusion_pressure": "3", "rise_time": "2",
    "intermediate_pressure": "6", "brew_pressure": "9", "taper_start": "70",
    "taper_pressure": "6", "ends_by": "volume", "grind_note": "Two finer", "basket": "18 g",
}  # fmt: skip
ENDS = {"ends_by": ["gravity"], "dose_mass": ["300", "-18"], "dose_mass_below": ["-1"]}
