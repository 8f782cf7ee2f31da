"""Causes in words: what each is called, what it says, and what to do."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db import models


class CauseKind(models.TextChoices):
    """What a finding is of; the codes of `stations.metrology.causes.Cause`."""

    METER = "meter", "Flow meter against the scale"
    PROBE = "probe", "Temperature against its setting"
    GRIND = "grind", "Grind, apart from dose and age"
    CHANNEL = "channel", "Channels in the puck"


class Given(models.TextChoices):
    """What somebody found to be the cause."""

    METER = "meter", "the flow meter"
    SCALE = "scale", "the scale, or how it was used"
    PROBE = "probe", "the temperature probe"
    HEATING = "heating", "the group heats otherwise"
    BURRS = "burrs", "worn or shifted burrs"
    LIME = "lime", "scale in the water's way"
    COFFEE = "coffee", "the coffee"
    PUCK = "puck", "dosing, distribution or tamping"
    BASKET = "basket", "basket, screen or seal"
    FALSE = "false", "nothing: a false alarm"
    OTHER = "other", "something else, as noted"


@dataclass(frozen=True, slots=True)
class Words:
    """A cause in sentences: risen, fallen, what to do, and the caution that goes with it."""

    risen: str
    fallen: str
    steps: tuple[str, ...]
    measure: str
    caution: str = ""


WORDS: Mapping[str, Words] = {
    CauseKind.METER: Words(
        "The meter counts more water than before, for what is in the cup.",
        "The meter counts less water than before, for what is in the cup.",
        (
            "Put a known weight on the scale. If it is wrong, the scale is the cause.",
            "Weigh three shots with the cup dry and centred, and nothing spilt.",
            "If it stays, calibrate the flow meter: accepting that clears this finding.",
        ),
        "Water counted less what is in the cup, for each gram of coffee",
        "calibration",
    ),
    CauseKind.PROBE: Words(
        "The group is hotter than before, for what it is set to.",
        "The group is colder than before, for what it is set to.",
        (
            "Let the machine stand heated for half an hour, and look at a few shots.",
            "If it stays, a technician measures the offset: accepting that clears this finding.",
            "Boilers, heating and safety valves are for a licensed technician alone.",
        ),
        "Temperature measured less temperature set",
        "temperature",
    ),
    CauseKind.GRIND: Words(
        "The puck resists more than dose and age of the lot explain.",
        "The puck resists less than dose and age of the lot explain.",
        (
            "See whether the mark slipped, and whether the hopper ran low.",
            "Unplug the grinder before you open it: clean the burrs and look at their edges.",
            "New burrs, noted in the grinder's log, clear this finding.",
            "If several grinders show it, look at pump and scale in the pipes: a technician's job.",
        ),
        "Logarithm of the wet puck's resistance, less what dose and age explain",
        "pressure",
    ),
    CauseKind.CHANNEL: Words(
        "Pucks open at once more often, or wider, than they did.",
        "Pucks open less than they did.",
        (
            "Watch dosing, distribution and tamping, and compare two people.",
            "Look at basket, screen and seal; clean the screen once the group is cold.",
            "See what the lot, its age and the grind are: too fine a grind opens pucks as well.",
        ),
        "Largest sudden fall of the logarithm of resistance within a shot",
        "pressure",
    ),
}
